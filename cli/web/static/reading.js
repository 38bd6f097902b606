// A reading while it is typed: the keypad, and at once what it is of what was expected. And which inlet
// an answer is about.

// Whether the name of an inlet is to be asked first: once the answer that points at one was tapped.
export function asksWhich(form, button) {
  const line = form.querySelector(".which");
  if (!line?.hidden || button?.dataset.inlet === undefined) return false;
  const again = document.createElement("button");
  again.append("Keep it");
  again.name = button.name;
  again.value = button.value;
  again.dataset.words = button.textContent.trim();
  line.hidden = false;
  line.append(again);
  button.after(line);
  form.elements.inlet.focus();
  return true;
}

// New dangers go before the question: where they leave no room for it, it waits until they were read,
// and they are folded together then.
export function dangersFirst(step) {
  const question = step.querySelector("#question");
  const dangers = [...step.querySelectorAll(":scope > .danger:not(.again)")];
  if (!question || !dangers.length) return;
  if (question.getBoundingClientRect().bottom + scrollY <= innerHeight) return;
  const later = [...step.children].slice([...step.children].indexOf(dangers.at(-1)) + 1);
  for (const one of later) one.hidden = true;
  const read = document.createElement("button");
  read.type = "button";
  read.id = "read";
  read.className = "main";
  read.textContent = "Read: now the question";
  read.addEventListener("click", () => {
    const folded = document.createElement("details"), head = document.createElement("summary");
    head.textContent = "Caution, as just read";
    folded.className = "danger folded";
    dangers[0].before(folded);
    folded.append(head, ...dangers);
    for (const one of later) one.hidden = false;
    read.remove();
    scrollTo(0, 0);
    question.tabIndex = -1;
    question.focus();
  });
  dangers.at(-1).after(read);
}

// Whether a reading that is odd is to be looked at again first; given once more it is meant.
export function oncemore(form, said, odd) {
  if (!odd || form.dataset.odd === said.answer) return false;
  form.dataset.odd = said.answer;
  form.querySelector("output").textContent = odd;
  return true;
}

// A thumb that taps twice means what it saw: a tap on the place of the last one answers nothing that
// has only just come up there.
const READ = 500; // ms
const NEAR = 24; // px
let tapped, shownAt = 0;
addEventListener("click", (tap) => {
  if (!tap.detail || !tap.target.closest?.("#step button:not(.key)")) return;
  const there = tapped && Math.hypot(tap.clientX - tapped.clientX, tap.clientY - tapped.clientY) < NEAR;
  if (there && tap.timeStamp - shownAt < READ) { tap.preventDefault(); tap.stopPropagation(); return; }
  tapped = tap;
}, true);

export function cameUp() { shownAt = performance.now(); }

export function typing(root) {
  for (const line of root.querySelectorAll("#step .which")) {
    line.hidden = true;
    line.querySelector("input").addEventListener("keydown", (key) => {
      if (key.key !== "Enter") return;
      key.preventDefault();
      line.querySelector("button[name=answer]")?.click();
    });
  }
  // A name that is known is tapped. Where it alone was missing, that keeps the answer.
  for (const names of root.querySelectorAll(".names")) {
    names.hidden = false;
    names.addEventListener("click", (tap) => {
      const name = tap.target.closest("button");
      if (!name) return;
      const field = names.closest("form").elements[names.dataset.fills];
      field.value = name.textContent;
      field.dispatchEvent(new Event("input", { bubbles: true }));
      names.closest(".which")?.querySelector("button[name=answer]")?.click();
    });
  }
  const form = root.querySelector("form.reading");
  if (!form) return;
  const field = form.elements.answer, unit = form.elements.unit, said = form.querySelector("output");
  const expected = Number(form.dataset.expected), levels = JSON.parse(form.dataset.levels);
  const blank = said.textContent;
  const judge = () => {
    const typed = field.value.trim().replace(",", ".");
    const factor = Number(unit.selectedOptions[0].dataset.factor);
    const value = typed === "" ? NaN : Number(typed) * factor;
    if (!Number.isFinite(value) || !levels.length) { said.textContent = blank; return; }
    const level = levels.find(([edge]) => edge === null || value < edge);
    said.textContent = `${Math.round(value)} of ${Math.round(expected)}: ${level[1]}`;
  };
  field.addEventListener("input", judge);
  unit.addEventListener("change", judge);
  const keypad = form.querySelector(".keypad");
  keypad.hidden = false;
  field.inputMode = "none";
  keypad.addEventListener("click", (tap) => {
    const key = tap.target.dataset.key;
    if (key === undefined) return;
    field.value = key === "" ? field.value.slice(0, -1) : field.value + key;
    judge();
  });
}
