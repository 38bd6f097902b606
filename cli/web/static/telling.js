// What readings say where there is only the card: the rules on readings alone, held against what was read.

const MOST = 6; // fixes by the readings; then come the looks of the card

// What is against the rules about a reading that is about to be kept, in their words; "" if nothing is.
export function doubted(pack, answers, said) {
  if (said.value === undefined || !pack?.telling?.spots[said.check]) return "";
  const facts = factsOf(pack.telling, read(pack, [...answers, said]).fresh);
  const odd = pack.telling.rules.find((one) => one.doubts.includes(said.check) && truth(one.when, facts));
  return odd ? `${odd.because} Look at the needle again; the same number once more keeps it.` : "";
}

// What the readings come to: the sentences of the rules that fire, and the faults left, the likeliest first.
export function verdict(pack, answers) {
  if (!pack.telling) return null;
  const { rules, fixes, cleared } = pack.telling, facts = factsOf(pack.telling, read(pack, answers).before);
  const fired = rules.filter((one) => one.speaks.flat().length && truth(one.when, facts));
  if (!fired.length) return null;
  const spoken = new Set(fired.flatMap((one) => one.speaks[0])), against = {};
  const speak = (faults, weight) => { for (const name of faults) against[name] = (against[name] ?? 0) + weight; };
  for (const one of fired) speak(one.speaks[1], 1);
  // What was looked at and found sound is not gone to once more.
  for (const one of answers) speak(cleared[one.check]?.[one.answer] ?? [], 100);
  const least = Math.min(...Object.keys(fixes).map((name) => against[name] ?? 0));
  const left = Object.keys(fixes).filter((name) => (against[name] ?? 0) === least);
  const beside = fired.filter((one) => JSON.stringify(one.when).includes('"kept.'));
  return {
    says: [...new Set((beside.length ? beside : fired).map((one) => one.because))],
    faults: left.sort((one, other) => spoken.has(other) - spoken.has(one)).slice(0, MOST),
  };
}

// Readings by their checks: since the last fix, and those of before it where none has been taken since.
function read(pack, answers) {
  let fresh = { ...pack.telling.read }, before = fresh;
  for (const one of answers) {
    if (one.number <= pack.number) continue;
    if (one.fix && one.answer === "yes") fresh = {};
    else if (one.value !== undefined && pack.telling.spots[one.check]) fresh[one.check] = Math.max(0, one.value - pack.telling.zero);
    before = { ...before, ...fresh };
  }
  return { fresh, before };
}

// The facts of some readings, by the names that rules know them by; of a house that is not known no shares.
function factsOf(telling, read) {
  const facts = {}, values = {}, shares = {};
  for (const [check, value] of Object.entries(read)) {
    const [state, station, expected] = telling.spots[check], at = `${state}.${station}`;
    facts[`reading.${at}`] = values[at] = value;
    if (expected === null) continue;
    facts[`share.${at}`] = shares[at] = value / expected;
    facts[`level.${at}`] = telling.levels.find(([edge]) => edge === null || shares[at] < edge)[1];
  }
  for (const [near, far] of telling.pairs) {
    for (const state of ["sealed", "working"]) {
      const one = `${state}.${near}`, other = `${state}.${far}`;
      if (one in values && other in values) facts[`drop.${one}-${far}`] = values[one] - values[other];
      if (shares[one] > 0 && other in shares) facts[`kept.${one}-${far}`] = shares[other] / shares[one];
    }
  }
  for (const at of Object.keys(values)) {
    const [state, station] = at.split(".");
    if (state === "sealed" && `working.${station}` in values) facts[`margin.${station}`] = values[at] - values[`working.${station}`];
  }
  return facts;
}

const PASSES = {
  is: (value, one) => value === one,
  is_not: (value, one) => value !== one,
  one_of: (value, some) => some.includes(value),
  none_of: (value, some) => !some.includes(value),
  below: (value, edge) => value < edge,
  at_most: (value, edge) => value <= edge,
  above: (value, edge) => value > edge,
  at_least: (value, edge) => value >= edge,
};

// Whether a condition is true, false, or (null) hangs on what is not known, as the engine has it.
function truth(when, facts) {
  const parts = (when.all ?? when.any)?.map((one) => truth(one, facts));
  if (when.all) return parts.includes(false) ? false : parts.includes(null) ? null : true;
  if (when.any) return parts.includes(true) ? true : parts.includes(null) ? null : false;
  if (when.not) { const one = truth(when.not, facts); return one === null ? null : !one; }
  const value = facts[when.fact];
  if (value === undefined) return null;
  return Object.entries(when).every(([name, limit]) => name === "fact" || PASSES[name](value, limit));
}
