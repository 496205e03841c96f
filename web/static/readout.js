// Asks for the page again every two seconds and puts the read-out in its place where it
// has changed. Without scripts the page renews itself whole where that is asked for.
async function renew() {
  const old = document.getElementById("readout");
  if (!old || !old.hasAttribute("data-renew") || document.hidden) return;
  const answer = await fetch(location.href).catch(() => null);
  if (!answer || !answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("readout");
  if (fresh && fresh.innerHTML !== old.innerHTML) old.replaceChildren(...[...fresh.childNodes].map((n) => document.adoptNode(n)));
}
(async () => {
  for (;;) {
    await new Promise((done) => setTimeout(done, 2000));
    await renew();
  }
})();
