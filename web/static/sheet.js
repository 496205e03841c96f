// One key per result on the check sheet, and no wait for the page: a result is
// sent on its own, in order, and the row, the counts and the card are taken from
// the answer. Keys act only while the focus is in a row and not in a text field.
const sheet = document.querySelector("[data-sheet]");
const symptoms = { d: "dead", w: "weak", u: "dull", t: "thin", n: "noisy", Enter: "" };
let queue = Promise.resolve();
let asking = null; // a fault that is being entered: how, and its number

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
    (again || fresh.querySelector("button") || sheet.querySelector("button")).focus({ preventScroll: true });
  }
}

async function send(row, body) {
  const form = document.getElementById(row).querySelector("form");
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", body: new URLSearchParams([...body, ["part", row]]), headers: { Prefer: "respond-async" } });
  } catch {
    say(`Not kept: ${form.getAttribute("aria-label")}. The bench does not answer; is it still running? Press the key again when it does.`, true);
    return;
  }
  const doc = new DOMParser().parseFromString(await answer.text(), "text/html");
  if (!answer.ok) {
    say((doc.querySelector(".problem") || doc.querySelector("main")).textContent.trim(), true);
    return;
  }
  for (const id of [row, "left", "regions", "undo", "next", "news"]) take(doc, id);
  const counts = doc.querySelectorAll("[data-sheet] .count");
  sheet.querySelectorAll(".count").forEach((c, i) => (c.textContent = counts[i].textContent));
  const covered = document.getElementById("left").dataset.covered.split(" ");
  sheet.querySelectorAll("ul.sheet > li").forEach((li) => li.classList.toggle("covered", covered.includes(li.id)));
}

const open = (row) => !row.querySelector('[aria-pressed="true"]:not([value="not tried"])');

function go(row) {
  if (!row) return;
  row.querySelector("button").focus();
  row.scrollIntoView({ block: "center" });
}

function move(row, by) {
  const rows = [...sheet.querySelectorAll("ul.sheet > li")];
  go(rows[rows.indexOf(row) + by]);
}

// After a result: the next row that is open, else the next one.
function onward(row) {
  const rows = [...sheet.querySelectorAll("ul.sheet > li")];
  const after = rows.slice(rows.indexOf(row) + 1);
  go(after.find(open) || after[0]);
}

function record(button, how) {
  const form = button.form, row = form.closest("li");
  const body = new FormData(form, button);
  if (how) {
    body.set("symptom", how.symptom);
    body.set("fault", how.number);
  }
  const pairs = [...body];
  queue = queue.then(() => send(row.id, pairs));
  onward(row);
}

// A fault is asked about in its row: one more key says how, digits before it are the
// number on the label.
function ask(button) {
  stop();
  const line = document.createElement("p");
  line.className = "asking";
  line.setAttribute("role", "status");
  asking = { button, line, number: "" };
  button.closest("li").querySelector(".item").append(line);
  show();
}

function show() {
  asking.line.textContent = `${asking.button.value}, label ${asking.number || "next"}: d dead, w weak, u dull, t thin, n noisy, Enter not said, Esc leaves it`;
}

function stop() {
  if (asking) asking.line.remove();
  asking = null;
}

function answer(e) {
  if (/^[0-9]$/.test(e.key) && asking.number.length < 4) asking.number += e.key;
  else if (e.key === "Backspace") asking.number = asking.number.slice(0, -1);
  else if (e.key in symptoms) {
    const { button, number } = asking;
    stop();
    record(button, { symptom: symptoms[e.key], number });
    return;
  } else if (e.key !== "Escape") return;
  if (e.key === "Escape") stop();
  else show();
}

// What reloads the page waits until all before it was sent.
function submit(form, row) {
  if (!form) return;
  queue = queue.then(() => {
    const after = form.elements.after;
    if (after && row) after.value = row.id;
    form.submit();
  });
}

sheet.addEventListener("submit", (e) => {
  if (e.target.closest(".rest")) return;
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

sheet.addEventListener("focusout", (e) => {
  if (asking && !asking.button.closest("li").contains(e.relatedTarget)) stop();
});

document.addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.altKey || e.metaKey) return;
  const row = e.target.closest("ul.sheet > li");
  if (e.target.matches("input, select, textarea")) {
    if (row && e.key === "Escape") row.querySelector("button").focus(); // what was typed stays
    return;
  }
  if (!row) {
    // From anywhere else the arrow goes to the row that is next.
    const next = document.querySelector("#left a[href^='#r']");
    if (e.key === "ArrowDown" && next && !e.target.closest(".scroll, .next")) {
      e.preventDefault();
      go(document.querySelector(next.hash));
    }
    return;
  }
  if (asking) {
    if (e.key !== "Tab") e.preventDefault();
    answer(e);
    return;
  }
  const button = e.key.length === 1 && row.querySelector(`[data-key="${CSS.escape(e.key)}"]`);
  if (e.key === "ArrowDown" || e.key === "ArrowUp") move(row, e.key === "ArrowDown" ? 1 : -1);
  else if (e.key === "r") {
    const d = row.querySelector("details");
    d.open = true;
    d.querySelector("input").focus();
  } else if (e.key === "c") {
    const pick = document.getElementById("sheet-case");
    pick.selectedIndex = (pick.selectedIndex + 1) % pick.options.length;
    document.querySelectorAll("input[name=case]").forEach((x) => x.closest("#next") || (x.value = pick.value));
    say(`Case, for what follows: ${pick.options[pick.selectedIndex].text}.`);
  } else if (e.key === "u") submit(document.querySelector("#undo form"), row);
  else if (e.key === "a") submit(row.closest("section").querySelector(".rest"));
  else if (button && (e.key === "f" || e.key === "i")) ask(button);
  else if (button) record(button);
  else return;
  e.preventDefault();
});
