// Takes a reading from a meter: shows its values while they settle, with a way to stop.
// Without this the form is sent and the answer waited for. The key m takes it too, while
// the focus is in the card: no stray key reads anything.
let stop;

async function take(button) {
  if (stop) return;
  const form = button.form, box = form.querySelector("[data-settling]");
  const [value, bar, says, end] = ["b", "progress", "span", "button"].map((s) => box.querySelector(s));
  const data = new FormData(form, button);
  const mine = stop = new AbortController();
  box.hidden = false;
  value.textContent = "";
  bar.value = 0;
  says.textContent = "asked";
  end.hidden = false;
  end.onclick = () => mine.abort();
  end.focus();
  const done = (text) => {
    stop = undefined;
    says.textContent = text;
    end.hidden = true;
    button.focus();
  };
  try {
    const answer = await fetch(button.formAction, { method: "POST", body: new URLSearchParams(data), headers: { Accept: "application/x-ndjson" }, signal: mine.signal });
    if (!answer.ok || !answer.headers.get("Content-Type").includes("ndjson")) return form.requestSubmit(button);
    const lines = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    let rest = "";
    for (;;) {
      const { value: more, done: over } = await lines.read();
      if (over) break;
      const parts = (rest + more).split("\n");
      rest = parts.pop();
      for (const line of parts.filter(Boolean)) {
        const x = JSON.parse(line);
        if (x.to) return location.assign(x.to);
        if (x.title) return done(x.title + " " + x.hint);
        value.textContent = x.value || "";
        bar.value = x.share;
        if (says.textContent !== x.phase) says.textContent = x.phase;
      }
    }
    done("The bench broke off. Look at the last entries.");
  } catch (e) {
    done(e.name === "AbortError" ? "Stopped. Nothing was entered in the record." : "The bench does not answer. Look at the last entries.");
  }
}

document.addEventListener("click", (e) => {
  const button = e.target.closest("[data-meter]");
  if (!button) return;
  e.preventDefault();
  take(button);
});

document.addEventListener("keydown", (e) => {
  if (e.key !== "m" || e.ctrlKey || e.altKey || e.metaKey || e.target.closest("input, select, textarea")) return;
  const button = e.target.closest("#next")?.querySelector("[data-meter]");
  if (button) take(button);
});
