// While the next step is being worked out, asks for it and puts it in its place.
// Only the card changes: what is being typed elsewhere on the page stays.
async function look() {
  const card = document.getElementById("next");
  if (!card || !card.hasAttribute("data-working")) return;
  const answer = await fetch(location.href).catch(() => null);
  if (!answer || !answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("next");
  const old = document.getElementById("next");
  if (fresh && !fresh.hasAttribute("data-working") && old.hasAttribute("data-working")) old.replaceWith(document.adoptNode(fresh));
}
(async () => {
  for (;;) {
    await look();
    await new Promise((done) => setTimeout(done, 1000));
  }
})();
