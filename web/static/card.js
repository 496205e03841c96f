// While the next step or the words of the verdict are being worked out, asks for them and
// puts each in its place. Only those parts change: what is being typed elsewhere stays.
const waiting = () => [...document.querySelectorAll("[id][data-working]")];
async function look() {
  if (!waiting().length) return;
  const answer = await fetch(location.href).catch(() => null);
  if (!answer || !answer.ok) return;
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const old of waiting()) {
    const fresh = page.getElementById(old.id);
    if (fresh && !fresh.hasAttribute("data-working")) old.replaceWith(document.adoptNode(fresh));
  }
}
(async () => {
  for (;;) {
    await look();
    await new Promise((done) => setTimeout(done, 1000));
  }
})();
