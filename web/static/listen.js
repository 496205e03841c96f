// Live capture. The page is complete without this: it starts and stops a device of the bench's
// machine and says how things stand on reload. This sends the browser's own input, keeps
// what is heard up to date, and gives the stop its key.
const SOUND = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: 2 } };
const ear = () => document.getElementById("ear");
let events, sound; // sound: what this page sends

function complain(title, hint) {
  const box = document.createElement("div");
  box.className = "problem";
  box.setAttribute("role", "alert");
  for (const t of [title, hint]) if (t) box.append(Object.assign(document.createElement("p"), { textContent: t }));
  document.getElementById("news").replaceChildren(box);
}

// Puts the page as the bench has it now in the place of this one; the sound goes on.
async function renew() {
  const answer = await fetch(location.pathname).catch(() => null);
  if (!answer || !answer.ok) { complain("The bench does not answer.", "What it took is kept in its folder; see whether it still runs."); return; }
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById("ear");
  ear().replaceWith(document.adoptNode(fresh));
  follow();
}

function follow() {
  if (events) events.close();
  events = null;
  if (!ear().dataset.events) return;
  let said = "";
  events = new EventSource(ear().dataset.events);
  events.addEventListener("heard", (e) => {
    const doc = new DOMParser().parseFromString(e.data, "text/html");
    for (const part of doc.querySelectorAll("[data-for]")) document.getElementById(part.dataset.for).replaceChildren(...[...part.childNodes].map((n) => document.adoptNode(n)));
    const word = document.querySelector("[data-headline]").textContent;
    if (word !== said) document.querySelector("[data-said]").textContent = said = word; // once, not four times a second
  });
  events.addEventListener("over", () => {
    events.close();
    if (!document.querySelector("[data-stop][data-going]")) { silence(); renew(); }
  });
}

function silence() {
  if (!sound) return;
  for (const t of sound.stream.getTracks()) t.stop();
  sound.context.close().catch(() => {});
  if (sound.socket) sound.socket.close();
  removeEventListener("beforeunload", stay);
  sound = null;
}

const stay = (e) => e.preventDefault(); // leaving the page cuts the capture off

async function start(form) {
  if (!navigator.mediaDevices) throw new Error("This browser gives its input only to pages of localhost.");
  const stream = await navigator.mediaDevices.getUserMedia({ audio: SOUND });
  const { sampleRate } = stream.getAudioTracks()[0].getSettings(); // not resampled, where the browser says it
  const context = new AudioContext(sampleRate ? { sampleRate, latencyHint: "interactive" } : { latencyHint: "interactive" });
  sound = { stream, context };
  await context.audioWorklet.addModule(ear().dataset.worklet);
  await context.resume();
  const has = (name) => form.elements[name].value;
  const [kind, id] = has("played").split("/");
  const order = { via: "browser", sample_rate: context.sampleRate, [kind]: id, function: has("function"), interface: has("interface"), case: has("case"), remark: has("remark"),
    while_recording: form.elements.while_recording.checked, tracks: `${has("left") || 0},${has("right") || 0}` };
  const answer = await fetch(ear().dataset.api, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(order) });
  const state = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(state.detail), { hint: state.hint });
  const socket = new WebSocket(new URL(state.sound, location.href.replace(/^http/, "ws")));
  socket.binaryType = "arraybuffer";
  await new Promise((done, fail) => { socket.onopen = done; socket.onerror = () => fail(new Error("The bench did not take the sound.")); });
  const node = new AudioWorkletNode(context, "ear", { numberOfInputs: 1, numberOfOutputs: 0, channelCount: 2, channelCountMode: "explicit", channelInterpretation: "discrete" });
  Object.assign(sound, { socket, node });
  node.port.onmessage = ({ data }) => {
    if (socket.readyState !== WebSocket.OPEN) return;
    // A block that would pile up is left out: its number is missed, and the place voided.
    if (data === "end" || socket.bufferedAmount < 4e6) socket.send(data);
  };
  socket.onclose = () => { // not by us: the bench ended it
    if (!sound || sound.ended) return;
    silence();
    if (!document.querySelector("[data-stop][data-going]")) renew();
  };
  context.createMediaStreamSource(stream).connect(node);
  addEventListener("beforeunload", stay);
  await renew();
}

// Sends what is still in hand before the stop, and waits until the bench has it.
function drain() {
  if (!sound || !sound.node || sound.socket.readyState !== WebSocket.OPEN) return;
  return new Promise((done) => {
    sound.ended = true;
    sound.socket.onclose = done;
    setTimeout(done, 3000);
    sound.node.port.postMessage("end");
  });
}

document.addEventListener("submit", async (e) => {
  const form = e.target;
  if (form.matches("[data-listen]") && form.elements.via.value === "browser") {
    e.preventDefault();
    const go = form.querySelector(".go");
    go.disabled = true;
    try {
      await start(form);
    } catch (err) {
      silence();
      go.disabled = false;
      const why = { NotAllowedError: "The browser did not allow its input.", NotFoundError: "The browser has no input." }[err.name];
      complain(why || err.message, err.hint || "Allow the input for this page, or take a device of the bench’s machine.");
    }
    return;
  }
  if (form.matches("[data-stop]") && !form.hasAttribute("data-going")) {
    e.preventDefault();
    form.setAttribute("data-going", "");
    form.querySelector(".go").disabled = true;
    const box = form.querySelector("[data-progress]"), bar = box.querySelector("progress");
    box.hidden = false;
    await drain();
    silence();
    setInterval(async () => {
      const p = await fetch(ear().dataset.progressAt).then((r) => r.json(), () => null);
      if (p && p.known) bar.value = p.done;
    }, 500);
    form.submit();
  }
});

addEventListener("keydown", (e) => {
  const form = document.querySelector("#running [data-stop]");
  if (e.key !== "s" || !form || e.ctrlKey || e.altKey || e.metaKey || e.repeat || e.target.matches("input:not([type=radio]), select, textarea")) return;
  e.preventDefault();
  form.requestSubmit(form.querySelector(".go"));
});

follow();
