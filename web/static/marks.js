// Keys on a picture that is marked: arrows move the cross, Enter places. A tap works without
// this file, and so do the two fields.
for (const form of document.querySelectorAll("[data-marks]")) {
  const picture = form.querySelector("input[type=image]");
  const cross = form.querySelector("[data-cursor]");
  const place = form.querySelector("[data-place]");
  const { across, down } = form.elements;
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const read = (field) => Math.min(100, Math.max(0, parseFloat(field.value.replace(",", ".")) || 0));
  const show = () => {
    const x = (read(across) / 100) * picture.width, y = (read(down) / 100) * picture.height;
    cross.setAttribute("transform", `translate(${x} ${y})`);
    return [x, y];
  };
  across.addEventListener("input", show);
  down.addEventListener("input", show);
  picture.addEventListener("keydown", (e) => {
    if (e.key === "Enter") {
      e.preventDefault();
      form.requestSubmit(place);
      return;
    }
    const step = steps[e.key];
    if (!step || e.ctrlKey || e.altKey || e.metaKey) return;
    e.preventDefault();
    const by = e.shiftKey ? 0.1 : 1; // percent of the picture
    across.value = Math.min(100, Math.max(0, read(across) + step[0] * by)).toFixed(1);
    down.value = Math.min(100, Math.max(0, read(down) + step[1] * by)).toFixed(1);
    const [x, y] = show();
    // The cross stays in sight where the picture is larger than its window.
    const box = picture.closest(".scroll");
    if (x < box.scrollLeft + 30 || x > box.scrollLeft + box.clientWidth - 30) box.scrollLeft = x - box.clientWidth / 2;
    const top = picture.getBoundingClientRect().top + y;
    if (top < 30 || top > innerHeight - 30) scrollBy(0, top - innerHeight / 2);
  });
}
