// While the bench hears a tape, puts each reading in its place as it comes, about ten a
// second, and offers to keep it; else asks for the page again every two seconds. Without
// scripts the page renews itself whole where that is asked for.
const box = document.getElementById("readout");
const keep = document.querySelector("[data-keep]"), said = document.querySelector("[data-said]"), unheard = document.querySelector("[data-unheard]");
let live = 0, spoke = 0;

const show = (html) => {
  const fresh = new DOMParser().parseFromString(html, "text/html").body;
  if (fresh.innerHTML !== box.innerHTML) box.replaceChildren(...[...fresh.childNodes].map((n) => document.adoptNode(n)));
};

async function renew() {
  if (!box || !box.hasAttribute("data-renew") || document.hidden || performance.now() - live < 2000) return;
  const answer = await fetch(location.href).catch(() => null);
  if (!answer || !answer.ok || performance.now() - live < 2000) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("readout");
  if (fresh) show(fresh.innerHTML);
}
(async () => {
  for (;;) {
    await new Promise((done) => setTimeout(done, 2000));
    await renew();
  }
})();

if (box && box.dataset.events) {
  const events = new EventSource(box.dataset.events);
  events.addEventListener("now", (e) => {
    live = performance.now();
    box.setAttribute("aria-live", "off"); // ten a second are for eyes; the words are said now and then
    keep.hidden = false;
    unheard.hidden = true;
    show(e.data);
    if (live - spoke > 3000) {
      spoke = live;
      said.textContent = [".one", ".wayline b", ".words"].map((s) => (box.querySelector(s) || {}).textContent || "").join(" ");
    }
  });
  events.addEventListener("none", (e) => {
    box.setAttribute("aria-live", "polite");
    keep.hidden = true;
    unheard.hidden = false;
    unheard.textContent = e.data;
  });
  addEventListener("keydown", (e) => {
    if (e.key === "k" && !keep.hidden && !e.ctrlKey && !e.altKey && !e.metaKey && !e.repeat) keep.requestSubmit();
  });
}
