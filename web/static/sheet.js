// One key per result on the check sheet, and no wait for the page: a result is
// sent on its own, in order, and the row, the counts and the card are taken from
// the answer. Keys act only while the focus is in a row and not in a text field.
const sheet = document.querySelector("[data-sheet]");
let queue = Promise.resolve();

function say(text, bad) {
  const box = document.createElement("div");
  box.className = bad ? "problem" : "kept";
  const p = document.createElement("p");
  p.textContent = text;
  box.append(p);
  document.getElementById("news").replaceChildren(box);
}

// Whatever holds the focus keeps it when its row is replaced.
function take(doc, id) {
  const fresh = doc.getElementById(id), old = document.getElementById(id);
  if (!fresh || !old) return;
  const held = old.contains(document.activeElement) ? document.activeElement : null;
  const value = held && held.value;
  const name = held && held.getAttribute("name");
  old.replaceWith(document.adoptNode(fresh));
  if (held) {
    const again = [...fresh.querySelectorAll(`[name="${name}"]`)].find((x) => x.tagName !== "BUTTON" || x.value === value);
    (again || fresh.querySelector("button")).focus({ preventScroll: true });
  }
}

async function send(row, body) {
  const form = document.getElementById(row).querySelector("form");
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", body: new URLSearchParams(body), headers: { Prefer: "respond-async" } });
  } catch {
    say(`Not kept: ${form.getAttribute("aria-label")}. The bench does not answer; is it still running? Press the key again when it does.`, true);
    return;
  }
  const doc = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!answer.ok) {
    say((doc.querySelector(".problem") || doc.querySelector("main")).textContent.trim(), true);
    return;
  }
  for (const id of [row, "left", "next", "news"]) take(doc, id);
  const counts = doc.querySelectorAll("[data-sheet] .count");
  sheet.querySelectorAll(".count").forEach((c, i) => (c.textContent = counts[i].textContent));
}

function move(row, by) {
  const rows = [...sheet.querySelectorAll("li")];
  const to = rows[rows.indexOf(row) + by];
  if (!to) return;
  to.querySelector("button").focus();
  to.scrollIntoView({ block: "center" });
}

function record(button) {
  const form = button.form, row = form.closest("li");
  const body = [...new FormData(form, button)];
  queue = queue.then(() => send(row.id, body));
  move(row, 1);
}

sheet.addEventListener("submit", (e) => {
  if (!e.submitter || !e.submitter.dataset.key) {
    e.preventDefault(); // Enter in a remark: keep it with the result that stands, else wait for one
    const on = e.target.querySelector('[aria-pressed="true"]');
    if (on) record(on);
    else e.target.querySelector("button").focus();
    return;
  }
  e.preventDefault();
  record(e.submitter);
});

sheet.addEventListener("keydown", (e) => {
  const row = e.target.closest("li");
  if (!row || e.ctrlKey || e.altKey || e.metaKey) return;
  if (e.target.matches("input, select, textarea")) {
    if (e.key === "Escape") row.querySelector("button").focus(); // what was typed stays
    return;
  }
  if (e.key === "ArrowDown" || e.key === "ArrowUp") {
    e.preventDefault();
    move(row, e.key === "ArrowDown" ? 1 : -1);
    return;
  }
  if (e.key === "r") {
    e.preventDefault();
    const d = row.querySelector("details");
    d.open = true;
    d.querySelector("input").focus();
    return;
  }
  const button = row.querySelector(`[data-key="${CSS.escape(e.key)}"]`);
  if (button) {
    e.preventDefault();
    record(button);
  }
});
