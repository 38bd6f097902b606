// Where a visit stands by what the phone carries: along the tree, then by the card.
import { dangersFirst } from "./reading.js";
import { verdict } from "./telling.js";

// The place after some answers: a node of the tree, what proves a fix, a step of the card, or the end
// of all. Where they are not all that was answered since the pack was made, only the card can go on.
export function place(pack, answers, all = true) {
  return { ...stand(pack, answers, all), open: left(pack, answers) };
}

// After these the house stands as before; whoever could not tell has tried it.
const UNTRIED = ["skipped", "can't do here", "there is none", "no"];

// What the answers since the pack was made have left open, by what the engine says of each act.
function left(pack, answers) {
  const open = new Set(pack.opened);
  for (const one of answers) {
    const leaving = pack.leaving[one.check ?? one.fix];
    if (!leaving || one.number <= pack.number || UNTRIED.includes(one.answer)) continue;
    for (const name of leaving.shuts) open.delete(name);
    for (const name of leaving.opens) open.add(name);
  }
  return [...open];
}

function stand(pack, answers, all) {
  let at = all && pack.nodes.length ? 0 : null;
  const done = new Set(), danger = pack.steps[pack.danger]?.check;
  let proof = null; // what is still to be shown after the last fix
  for (const one of answers) {
    const node = at === null ? null : pack.nodes[at];
    const step = node && pack.steps[node.step];
    const asked = step && (step.check ?? step.fix) === (one.check ?? one.fix);
    if (one.check && one.check === danger && one.answer in pack.stops) return { step: pack.stops[one.answer], card: false };
    // Asked beside the way, the question about danger leads nowhere else.
    if (one.check && one.check === danger && !asked) continue;
    done.add(one.check ?? one.fix);
    if (one.fix) proof = one.answer === "yes" ? [...(pack.proof ?? [])] : null;
    else if (proof && pack.steps[proof[0]]?.check === one.check) {
      proof.shift();
      if (!proof.length && !(pack.good?.[one.check] ?? []).includes(one.answer)) proof = null;
    }
    // An answer to something else than the tree asks here was given elsewhere.
    at = asked ? way(node, one) : null;
  }
  if (at !== null) return { step: pack.nodes[at].step, card: false };
  if (proof) return proof.length ? { step: proof[0], card: false, proof: true } : { step: null, card: false, done: true };
  const next = pack.card.find((number) => !done.has(pack.steps[number].check));
  if (pack.telling?.spots[pack.steps[next]?.check]) return { step: next, card: true };
  // All is read: what the readings speak for is mended first, then come the looks.
  const said = verdict(pack, answers), fault = said?.faults.find((name) => !done.has(name));
  return { step: (fault && pack.telling.fixes[fault]) ?? next ?? null, card: true, said };
}

function way(node, one) {
  if (node.edges.length) {
    const value = one.value;
    if (typeof value !== "number") return null;
    const edge = node.edges.find(([below]) => below === null || value < below);
    return edge?.[1] ?? null;
  }
  return node.ways[one.answer] ?? null;
}

// Put the step of a place on the page.
export function draw(root, pack, at, number) {
  const { leaving, back, behind } = pack, bare = at.step === null ? null : pack.steps[at.step];
  const { opens = [], shuts = Object.keys(back) } = leaving[bare?.check ?? bare?.fix] ?? {};
  // Steps of the tree say themselves what is put back first; where there is danger nothing is.
  const shut = bare && !at.card && !at.proof ? [] : shuts.filter((name) => at.open.includes(name)).sort();
  const through = bare && at.step in behind && opens.every((name) => at.open.includes(name));
  const step = through ? pack.steps[behind[at.step]] : bare;
  root.innerHTML = step?.page ?? (at.done
    ? "<h1>Done, as far as this phone can tell.</h1><p>The fix and what was measured after it are kept. Put back what stands open. The visit is closed, and its page for the customer written, when it is back with the others.</p>"
    : `<h1>That is all this phone carries.</h1><p>Every answer is kept on it.</p>${pack.start ? "" : "<p>Go on when there is a signal.</p>"}`);
  if (!step && pack.start) {
    // One file has no signal to wait for.
    root.querySelector("p").append(" Tap Visit file above and bring it home: it goes on there from all that was answered.");
  }
  if (at.said) tell(root, pack, at.said);
  putBack(root, shut.map((name) => back[name]));
  const eyebrow = root.querySelector(".eyebrow");
  if (!eyebrow) return;
  const words = eyebrow.firstChild;
  words.textContent = words.textContent.replace(/^\d+\./, `${number}.`);
  const reading = root.querySelector("form.reading");
  if (reading && pack.any) {
    reading.dataset.levels = "[]";
    reading.querySelector("output").textContent = "What it should be is said when there is a signal";
  }
  if (at.card || at.proof) {
    const note = document.createElement("p");
    note.className = "strong";
    note.textContent = at.proof ? "After the fix: is the suction back?" : "Without a signal, by the card:";
    eyebrow.before(note);
  }
  dangersFirst(root);
}

function make(tag, words, kind = "") {
  return Object.assign(document.createElement(tag), { textContent: words, className: kind });
}

// What the readings say, in the words of the rules, and what is left then.
function tell(root, pack, said) {
  const all = make("details", ""), names = said.faults.map((name) => pack.telling.titles[name]);
  all.className = "how";
  all.append(make("summary", "What the readings say"), ...said.says.map((words) => make("p", words)));
  if (names.length) {
    const list = make("ol", "");
    list.append(...names.map((words) => make("li", words)));
    all.append(make("p", "That leaves, the likeliest first:"), list);
  }
  const eyebrow = root.querySelector(".eyebrow");
  if (eyebrow) eyebrow.before(all);
  else { all.open = true; root.append(all); }
}

// What stands open and is put back before a step, or before one leaves.
function putBack(root, undone) {
  if (!undone.length) return;
  const question = root.querySelector("#question")?.parentElement;
  const minutes = undone.reduce((sum, one) => sum + one.minutes, 0);
  const head = make("h2", question ? "first put back " : "Put back ");
  if (minutes) head.append(make("small", `about ${minutes} min`));
  // What was opened along with them, as the plug, comes after them all.
  const steps = new Set([...undone.map((one) => one.steps[0]), ...undone.flatMap((one) => one.steps.slice(1))]);
  const items = [...steps].map((words, n) => {
    const item = make("p", ` ${words}`, "item");
    item.prepend(make("b", `${n + 1}`));
    return item;
  });
  const told = [...root.querySelectorAll(":scope > .danger")].map((one) => one.textContent).join();
  const cautions = new Set(undone.flatMap((one) => one.cautions).filter((words) => !told.includes(words)));
  for (const words of cautions) {
    const danger = make("p", ` ${words}`, "danger");
    danger.prepend(make("strong", "Caution"));
    const eyebrow = root.querySelector(".eyebrow");
    if (eyebrow) eyebrow.after(danger);
    else root.append(danger);
  }
  if (question) question.before(head, ...items);
  else root.append(head, ...items);
}

// The last answer, below its question.
export function lastSaid(place, last) {
  place.replaceChildren();
  if (!last) return;
  const asked = document.createElement("b"), line = document.createElement("p");
  asked.textContent = last.asked ?? "";
  line.className = "item";
  line.append(asked, " ", last.words ?? "");
  place.append(line);
}

// What a form says, as it goes on record.
export function given(form, button) {
  const about = form.dataset.check ? { check: form.dataset.check } : { fix: form.dataset.fix };
  about.inlet = form.elements.inlet?.value.trim() || undefined;
  about.asked = document.getElementById("question")?.textContent;
  const at = new Date().toISOString();
  if (button?.name === "answer") return { ...about, answer: button.value, words: button.dataset.words ?? button.textContent.trim(), at };
  const typed = form.elements.answer.value.trim(), unit = form.elements.unit;
  const number = Number(typed.replace(",", "."));
  const factor = Number(unit.selectedOptions[0].dataset.factor);
  const bare = unit.selectedIndex > 0 && typed !== "" && Number.isFinite(number);
  return {
    ...about,
    answer: bare ? `${typed} ${unit.value}` : typed,
    value: typed !== "" && Number.isFinite(number) && number >= 0 ? number * factor : undefined,
    words: form.querySelector("output").textContent,
    at,
  };
}
