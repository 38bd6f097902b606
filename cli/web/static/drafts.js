// What is being typed into a form stays on this phone until it is on record, whatever becomes of the
// page and of the signal.

const KEPT = "draft ";

const typed = (form) => [...form.elements].filter((one) => one.name && !["hidden", "submit", "file"].includes(one.type));

// Of a form that stands on the page more than once the first field says which it is.
function key(form) {
  const path = new URL(form.getAttribute("action"), location).pathname;
  return [KEPT + path, typed(form)[0]?.name, form.elements.site?.value ?? ""].join(" ");
}

export function keep(form) {
  const said = {};
  for (const one of typed(form)) said[one.name] = one.type === "checkbox" ? one.checked : one.value;
  try { localStorage.setItem(key(form), JSON.stringify(said)); } catch { /* full, or not allowed */ }
}

export function drop(form) {
  try { localStorage.removeItem(key(form)); } catch { /* not allowed */ }
}

// Fill in what was typed before; whether that was anything else than what stands there.
export function fill(form) {
  let said = null;
  try { said = JSON.parse(localStorage.getItem(key(form))); } catch { /* not allowed */ }
  let other = false;
  for (const one of said ? typed(form) : []) {
    const part = one.type === "checkbox" ? "checked" : "value";
    if (!(one.name in said) || one[part] === said[one.name]) continue;
    one[part] = said[one.name];
    one.closest("details")?.setAttribute("open", "");
    other = true;
  }
  return other;
}

// Whoever has this phone next has nothing of it.
export function forget() {
  try {
    for (const name of Object.keys(localStorage)) if (name.startsWith(KEPT)) localStorage.removeItem(name);
  } catch { /* not allowed */ }
}
