// What the phone keeps: answers until they are on record, what it carries of each visit, and where
// each stood when the server last showed it.

let opened;

function open() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open("stillflow", 3);
    asked.onupgradeneeded = (event) => {
      if (event.oldVersion < 1) {
        asked.result.createObjectStore("answers", { keyPath: ["visit", "number"] });
        asked.result.createObjectStore("packs", { keyPath: "visit" });
      }
      if (event.oldVersion < 2) asked.result.createObjectStore("stands", { keyPath: "visit" });
      // What an earlier page carried says nothing of what to put back.
      else asked.transaction.objectStore("packs").clear();
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

async function work(name, mode, what) {
  const base = await open();
  return new Promise((done, failed) => {
    // "strict": on the phone's disk before the next question is shown, whatever the battery does.
    const all = base.transaction(name, mode, { durability: "strict" });
    const asked = what(all.objectStore(name));
    all.oncomplete = () => done(asked?.result);
    all.onerror = all.onabort = () => failed(all.error);
  });
}

const of = (visit) => IDBKeyRange.bound([visit], [visit, []]);

export const answers = (visit) => work("answers", "readonly", (s) => s.getAll(of(visit)));
export const keep = (answer) => work("answers", "readwrite", (s) => s.put(answer));
export const drop = (visit, number) => work("answers", "readwrite", (s) => s.delete([visit, number]));
export const waiting = () => work("answers", "readonly", (s) => s.getAll());
export const pack = (visit) => work("packs", "readonly", (s) => s.get(visit));
export const carry = (pack) => work("packs", "readwrite", (s) => s.put(pack));
export const stood = (visit) => work("stands", "readonly", (s) => s.get(visit));
export const stands = () => work("stands", "readonly", (s) => s.getAll());
export const stand = (place) => work("stands", "readwrite", (s) => s.put(place));
// The card of no visit in particular, which is kept beside the visits'.
export const ANY = "";

export async function forget() {
  await work("packs", "readwrite", (s) => s.clear());
  await work("stands", "readwrite", (s) => s.clear());
}

export async function leave(visit) {
  await work("packs", "readwrite", (s) => s.delete(visit));
  await work("stands", "readwrite", (s) => s.delete(visit));
}
