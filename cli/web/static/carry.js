// Where a visit stands by what the phone carries: along the tree, then by the card.

// The place after some answers: a node of the tree, a step of the card, or the end of both. Where they
// are not all that was answered since the pack was made, only the card can go on.
export function place(pack, answers, all = true) {
  let at = all && pack.nodes.length ? 0 : null;
  const done = new Set();
  for (const one of answers) {
    done.add(one.check ?? one.fix);
    const node = at === null ? null : pack.nodes[at];
    const step = node && pack.steps[node.step];
    // An answer to something else than the tree asks here was given elsewhere.
    at = step && (step.check ?? step.fix) === (one.check ?? one.fix) ? way(node, one) : null;
  }
  if (at !== null) return { step: pack.nodes[at].step, card: false };
  const left = pack.card.find((number) => !done.has(pack.steps[number].check));
  return { step: left ?? null, card: true };
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
  const step = at.step === null ? null : pack.steps[at.step];
  root.innerHTML = step?.page ?? "<h1>That is all this phone carries.</h1><p>Every answer is kept on it. Go on when there is a signal.</p>";
  // Two answers at once want the server's word.
  root.querySelector("form.both")?.closest("details").remove();
  const eyebrow = root.querySelector(".eyebrow");
  if (!eyebrow) return;
  const words = eyebrow.firstChild;
  words.textContent = words.textContent.replace(/^\d+\./, `${number}.`);
  const reading = root.querySelector("form.reading");
  if (reading && pack.any) {
    reading.dataset.levels = "[]";
    reading.querySelector("output").textContent = "What it should be is said when there is a signal";
  }
  if (at.card) {
    const note = document.createElement("p");
    note.className = "strong";
    note.textContent = "Without a signal, by the card:";
    eyebrow.before(note);
  }
}

// What a form says, as it goes on record.
export function given(form, button) {
  const about = form.dataset.check ? { check: form.dataset.check } : { fix: form.dataset.fix };
  about.inlet = form.elements.inlet?.value.trim() || undefined;
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
