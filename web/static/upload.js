// Progress of an upload and of its measuring, and a way to stop both. Without
// this the browser's own progress and stop do.
const form = document.querySelector("[data-upload]");
const box = form.querySelector("[data-progress]");
const bar = box.querySelector("progress"), text = box.querySelector("span"), stop = box.querySelector("button");

form.addEventListener("submit", (e) => {
  e.preventDefault();
  const go = form.querySelector(".go");
  const req = new XMLHttpRequest();
  let poll;
  const end = (message) => {
    clearInterval(poll);
    go.disabled = false;
    text.textContent = message;
    stop.hidden = true;
  };
  box.hidden = false;
  stop.hidden = false;
  go.disabled = true;
  text.textContent = "sending";
  req.upload.onprogress = (p) => { if (p.lengthComputable) bar.value = p.loaded / p.total; };
  req.upload.onload = () => {
    bar.value = 0;
    text.textContent = "measuring";
    poll = setInterval(async () => {
      const p = await fetch(form.dataset.upload).then((r) => r.json(), () => null);
      if (p && p.known) bar.value = p.done;
    }, 500);
  };
  req.onload = () => {
    clearInterval(poll);
    if (req.status < 400) { location.assign(req.responseURL); return; }
    const doc = new DOMParser().parseFromString(req.responseText, "text/html");
    const why = doc.querySelector(".problem") || doc.querySelector("main");
    document.getElementById("news").replaceChildren(document.adoptNode(why));
    end("refused");
  };
  req.onerror = () => end("The bench does not answer. Nothing was entered in the record; what was typed stands here.");
  req.onabort = () => end("Stopped. Nothing was entered in the record; what was typed stands here.");
  stop.onclick = () => req.abort();
  req.open("POST", form.action);
  req.send(new FormData(form));
});
