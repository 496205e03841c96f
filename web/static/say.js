// One key takes back what was just kept, and where the machine has a voice it can read out
// what was understood. Without scripts the line and the button stand there all the same.
const kept = document.querySelector(".kept");
const line = document.querySelector("[data-say]");

addEventListener("keydown", (e) => {
  if (e.key !== "u" || e.ctrlKey || e.altKey || e.metaKey || e.target.matches("input, select, textarea") || document.querySelector("[data-sheet]")) return;
  const form = kept && kept.querySelector("form");
  if (!form) return;
  e.preventDefault();
  form.requestSubmit();
});

function voice() {
  if (!line || document.getElementById("say") || !("speechSynthesis" in window) || !speechSynthesis.getVoices().length) return;
  const on = () => localStorage.getItem("say") === "on";
  const speak = () => {
    speechSynthesis.cancel();
    speechSynthesis.speak(new SpeechSynthesisUtterance(line.textContent));
  };
  const button = document.createElement("button");
  button.id = "say";
  const label = () => (button.textContent = on() ? "stop reading out" : "read out what is kept");
  button.addEventListener("click", () => {
    localStorage.setItem("say", on() ? "off" : "on");
    label();
    if (on()) speak();
    else speechSynthesis.cancel();
  });
  label();
  line.after(button);
  if (on()) speak();
}
voice();
if ("speechSynthesis" in window) speechSynthesis.addEventListener("voiceschanged", voice);
