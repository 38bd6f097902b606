// The visit as one file: along its tree, then by the card; answers stay in this browser.
import { draw, given, lastSaid, place } from "./carry.js";
import { asksWhich, oncemore, typing } from "./reading.js";
import { doubted } from "./telling.js";

const packed = JSON.parse(document.getElementById("pack").textContent);
const KEY = `stillflow-guide-${packed.start.rules ?? ""}-${packed.mark}`;
const hint = (words) => { document.getElementById("signal").textContent = words; };

let answered = [];
try { answered = JSON.parse(localStorage.getItem(KEY)) ?? []; } catch { /* asked anew */ }

function store() {
  try { localStorage.setItem(KEY, JSON.stringify(answered)); } catch { hint("This browser keeps nothing: do not close the page"); }
}

function show(at = place(packed, answered)) {
  draw(document.getElementById("step"), packed, at, packed.number + answered.length + 1);
  lastSaid(document.getElementById("last"), answered.at(-1));
  document.body.dataset.number = answered.length;
  typing(document);
  for (const form of document.querySelectorAll("#step form")) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (asksWhich(form, event.submitter)) return;
      const said = given(form, event.submitter);
      if (form.classList.contains("reading") && said.value === undefined) {
        form.querySelector("output").textContent = "Without a signal a reading is a number";
        return;
      }
      if (oncemore(form, said, doubted(packed, answered, said))) return;
      answered.push(said);
      store();
      show();
    });
  }
  scrollTo(0, 0);
}

function event({ check, fix, answer, inlet, at }) {
  const about = check ? { check, answer: Number.isFinite(Number(answer)) ? Number(answer) : answer } : {
    fix, done: answer === "yes", ...(answer === "not there" ? { found: false } : {}),
  };
  return { ...about, ...(inlet ? { inlet } : {}), at };
}

document.getElementById("undo").addEventListener("click", () => {
  answered.pop();
  store();
  show();
});
document.getElementById("danger").addEventListener("click", () => {
  if (packed.danger !== null) show({ step: packed.danger, card: false, open: [] });
});
document.getElementById("anew").addEventListener("click", () => {
  if (!confirm("Begin anew? What was answered here is gone then.")) return;
  answered = [];
  store();
  show();
});
document.getElementById("home").addEventListener("click", () => {
  const visit = { ...packed.start, events: [...(packed.start.events ?? []), ...answered.map(event)] };
  const link = document.createElement("a");
  // JSON is YAML too: this is a visit file.
  link.href = URL.createObjectURL(new Blob([`${JSON.stringify(visit, null, 2)}\n`], { type: "application/yaml" }));
  link.download = "visit.yaml";
  link.click();
});
show();
