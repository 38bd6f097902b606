// The page on the phone. Without it every page works by plain forms and links; with it an answer is
// on the phone before it is sent, and the visit goes on where there is no signal.
import { draw, given, lastSaid, place } from "./carry.js";
import * as drafts from "./drafts.js";
import { asksWhich, cameUp, dangersFirst, oncemore, typing } from "./reading.js";
import { doubted } from "./telling.js";
import * as store from "./store.js";

const PATIENCE = 8000; // ms until a server that does not answer counts as no signal
const AGAIN = 10000;

const $ = (what) => document.querySelector(what);
const say = (words) => { $("#signal").textContent = words; };

function visitOf() {
  return document.body.dataset.visit ?? location.pathname.match(/^\/visit\/([^/]+)/)?.[1];
}

async function ask(path, options = {}) {
  const answer = await fetch(path, {
    ...options,
    headers: { "x-stillflow-token": document.body.dataset.token, ...options.headers },
    signal: AbortSignal.timeout(PATIENCE),
  });
  // Something between us and the server speaks for it, or the server is not well: no signal.
  if (answer.status >= 500) throw new Error(`status ${answer.status}`);
  return answer;
}

async function unsent(visit) {
  return (await store.answers(visit)).filter((one) => !one.sent);
}

// Send what is not on record yet, in order; the page of where the visit then stands, or null.
async function join(visit, anew, asked = false) {
  const left = await unsent(visit);
  if (!left.length) return null;
  const mark = anew ?? left[0].mark;
  const answer = await ask(`/visit/${visit}/join`, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ mark, asked, answers: left.map(({ check, fix, answer, inlet, at }) => ({ check, fix, answer, inlet, at })) }),
  });
  const html = await answer.text();
  if (answer.status === 200) {
    await settle(visit, bodyOf(html));
    for (const one of left) await store.keep({ ...one, sent: true });
  } else if (answer.status === 422) {
    // One of them cannot go on record as it is: the page says why, and asks it again.
    const page = bodyOf(html);
    await settle(visit, page);
    const number = Number(page.number);
    for (const one of left) {
      if (one.number <= number) await store.keep({ ...one, sent: true });
      else await store.drop(visit, one.number);
      if (one.number > number + 1) await store.keep({ ...one, number: one.number - 1, mark: page.mark });
    }
  } else if (answer.status === 401) {
    location.assign("/pair");
    return null;
  }
  return { status: answer.status, html };
}

function bodyOf(html) {
  return new DOMParser().parseFromString(html, "text/html").body.dataset;
}

function swap(html) {
  const page = new DOMParser().parseFromString(html, "text/html");
  for (const line of page.querySelectorAll(".which")) line.hidden = true;
  document.title = page.title;
  document.body.replaceWith(document.adoptNode(page.body));
  cameUp();
  scrollTo(0, 0);
  begin();
}

// Where the visit stands by what the phone has; null where it has nothing to go by.
async function here(visit) {
  const stood = await store.stood(visit);
  const pack = stood && (await store.pack(visit) ?? await store.pack(store.ANY));
  if (!pack) return null;
  const all = await store.answers(visit);
  const later = all.filter((one) => one.number > pack.number);
  const number = Math.max(stood.number, all.at(-1)?.number ?? 0);
  // What was noted, or answered on another phone, is not among the answers of this one.
  const every = later.every((one, n) => one.number === pack.number + n + 1) && number === pack.number + later.length;
  return { pack, stood, number, given: all, at: place(pack, every ? later : all, every) };
}

async function alone(visit) {
  const now = await here(visit);
  say("No signal");
  if (!now) {
    $("#step").innerHTML = "<h1>No signal</h1><p>What was answered is kept. This phone has nothing more of this visit with it: it is shown when there is a signal.</p>";
    return;
  }
  const { pack, stood, number, given, at } = now;
  draw($("#step"), pack, at, number + 1);
  Object.assign(document.body.dataset, { visit, number, mark: stood.mark, site: stood.site, carried: "1" });
  const last = given.at(-1), place_ = $("#last") ?? $(".last");
  if (place_) lastSaid(place_, last);
  $("#ahead")?.remove(); // it was said of the step before
  const waits = given.filter((one) => !one.sent).length;
  if (waits) say(`No signal; ${waits} ${waits === 1 ? "answer waits" : "answers wait"} on this phone`);
  const bar = $(".bar");
  if (bar) {
    bar.hidden = false;
    // What may hurt is the last to go when the signal does.
    bar.innerHTML = '<button type="button" id="undo">Undo</button><button type="button" id="danger">Danger</button>';
    bar.querySelector("#undo").addEventListener("click", () => back(visit));
    bar.querySelector("#danger").addEventListener("click", () => danger(visit, now));
  }
  cameUp();
  listen(visit);
  scrollTo(0, 0);
}

// The question about danger, whatever comes next; its answer goes on record like any other.
async function danger(visit, now) {
  const pack = [now.pack, await store.pack(store.ANY)].find((one) => one?.danger !== undefined);
  if (!pack) return;
  draw($("#step"), pack, { step: pack.danger, card: false, open: [] }, now.number + 1);
  listen(visit);
  scrollTo(0, 0);
}

async function back(visit) {
  const last = (await unsent(visit)).at(-1);
  if (!last) { say("What is on record can be taken back when there is a signal"); return; }
  await store.drop(visit, last.number);
  await alone(visit);
}

function listen(visit) {
  typing(document);
  for (const form of document.querySelectorAll("#step form:not(.both)")) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (document.body.dataset.busy || asksWhich(form, event.submitter)) return;
      document.body.dataset.busy = "1";
      try {
        await answer(visit, given(form, event.submitter), form);
      } finally {
        delete document.body.dataset.busy;
      }
    });
  }
}

async function answer(visit, said, form) {
  const data = document.body.dataset, before = await unsent(visit);
  if (data.carried && said.check && said.words && !("value" in said ? said.value !== undefined : true)) {
    $("output").textContent = "Without a signal a reading is a number";
    return;
  }
  if (data.carried && oncemore(form, said, await odd(visit, said))) return;
  const number = Math.max(Number(data.number), before.at(-1)?.number ?? 0) + 1;
  await store.keep({ visit, number, mark: before[0]?.mark ?? data.mark, sent: false, ...said });
  if (data.carried) { await alone(visit); retry(visit); return; }
  try {
    // Only whoever waits at the gauge for this very answer can look at the needle again.
    const joined = await join(visit, undefined, !before.length);
    if (joined) shown(visit, joined);
  } catch {
    const doubt = await odd(visit, said);
    if (doubt) await store.drop(visit, number);
    await alone(visit);
    // The server would have asked as well: nobody stands at the gauge any more once it is back.
    const again = doubt && $("#step form.reading");
    if (again?.dataset.check === said.check) {
      again.elements.answer.value = form.elements.answer.value;
      again.elements.unit.selectedIndex = form.elements.unit.selectedIndex;
      oncemore(again, said, doubt);
    }
    retry(visit);
  }
}

// What is odd about a reading by what the phone carries.
async function odd(visit, said) {
  const now = await here(visit);
  return now ? doubted(now.pack, now.given.filter((one) => one.at !== said.at), said) : "";
}

let timer;
function retry(visit) {
  clearTimeout(timer);
  timer = setTimeout(() => signal(visit), AGAIN);
}

// Is there a signal again? Then what waits is joined, and the page is the server's.
async function signal(visit) {
  clearTimeout(timer);
  // Not under the fingers of somebody who types: the answer asked for here comes first.
  if (document.body.dataset.busy || $("#step .typed input")?.value) { retry(visit); return; }
  try {
    const answer = await ask(`/visit/${visit}`);
    if (answer.status === 401) location.assign("/pair");
    else if (answer.ok) swap(await answer.text());
  } catch {
    retry(visit);
  }
}

function shown(visit, joined) {
  swap(joined.html);
  if (joined.status === 409) conflict(visit);
}

// The visit was changed elsewhere: what was answered here is the person's to add or to leave out.
function conflict(visit) {
  const told = $(".told");
  const choose = (words, act) => {
    const button = document.createElement("button");
    button.textContent = words;
    button.addEventListener("click", act);
    told.append(" ", button);
  };
  choose("Add this phone's answers after it", async () => {
    const joined = await join(visit, document.body.dataset.mark);
    if (joined) shown(visit, joined);
  });
  choose("Leave them out", async () => {
    for (const one of await unsent(visit)) await store.drop(visit, one.number);
    signal(visit);
  });
}

// What the server's page knows of the visit is the truth of what is on record.
async function settle(visit, page) {
  const number = Number(page.number), pack = await store.pack(visit);
  await store.stand({ visit, number, mark: page.mark, site: page.site });
  for (const one of await store.answers(visit)) {
    if (one.sent && one.number > number) await store.drop(visit, one.number);
  }
  // A tree from an answer that was taken back leads nowhere.
  const gone = pack && (pack.number > number || (pack.number === number && pack.mark !== page.mark));
  if (gone) await store.carry({ ...pack, nodes: [], moment: "" });
}

// A visit that is over need not be carried any further.
async function over(visit) {
  await store.leave(visit);
  for (const one of await store.answers(visit)) if (one.sent) await store.drop(visit, one.number);
}

// Fetch what to go by without a signal: soon the card and the near tree, then the whole tree.
async function carry(visit) {
  const { moment } = document.body.dataset, known = await store.pack(visit);
  const still = () => document.body.dataset.moment === moment;
  if (known?.moment === moment && known.whole) { if (still()) ready(moment); return; }
  const walks = known && !(await here(visit))?.at.card;
  for (const how of walks ? [""] : ["?soon", ""]) {
    let answer;
    // What was given up for an earlier moment is asked for again as long as this one lasts.
    while (still() && !(answer && answer.status !== 204)) {
      if (answer) await new Promise((done) => setTimeout(done, 500));
      answer = await fetch(`/visit/${visit}/tree${how}`);
    }
    if (!still() || answer.status !== 200 || answer.redirected) return;
    const pack = await answer.json();
    if (!still() || pack.moment !== moment) return;
    await store.carry({ ...pack, whole: !how });
    if (!still()) return;
    if (how) { document.body.dataset.near = moment; say("Offline: nearly"); }
    else ready(moment);
  }
}

function ready(moment) {
  document.body.dataset.ready = moment;
  say("Offline: ready");
}

// The card of no visit in particular, which stands in until a visit's own has come.
async function carryCard() {
  if (location.pathname !== "/new" && await store.pack(store.ANY)) return;
  const answer = await fetch("/card");
  if (answer.ok && !answer.redirected) await store.carry(await answer.json());
}

async function listCarried() {
  const list = $("#carried");
  for (const one of await store.stands()) {
    const item = document.createElement("li"), link = document.createElement("a");
    link.href = `/visit/${one.visit}`;
    const count = document.createElement("small");
    const waits = (await unsent(one.visit)).length;
    count.textContent = `${one.number} ${one.number === 1 ? "answer" : "answers"} on record${waits ? `, ${waits} on this phone alone` : ""}`;
    link.append(one.site, count);
    item.append(link);
    list.append(item);
  }
}

async function begin() {
  const data = document.body.dataset;
  if (location.pathname === "/pair") { drafts.forget(); await store.forget(); return; }
  const visit = visitOf();
  if (!data.carried && $("#step")) dangersFirst($("#step"));
  if ($("#print")) $("#print").hidden = false;
  for (const form of document.querySelectorAll("form.photo")) shrinking(form);
  for (const form of document.querySelectorAll("form[data-draft]")) sending(form);
  if (data.carried) {
    if (visit) { await alone(visit); retry(visit); return; }
    await listCarried();
    $($("#carried li") ? "#some" : "#none").hidden = false;
    return;
  }
  carryCard().catch(() => {});
  if (!visit || !$("#step")) { typing(document); return; }
  if (!data.told) {
    try {
      const joined = await join(visit);
      if (joined) { shown(visit, joined); return; }
    } catch {
      await alone(visit);
      retry(visit);
      return;
    }
  }
  await settle(visit, data);
  if (!$("#step form")) { await over(visit); return; }
  listen(visit);
  carry(visit).catch(() => {});
}

// What is typed in is not lost where the signal goes before it is on record: it stays on the phone.
function sending(form) {
  if (drafts.fill(form)) {
    const told = document.createElement("p"), empty = document.createElement("button");
    told.className = "told";
    told.role = "status";
    empty.type = "button";
    empty.textContent = "Empty it";
    empty.addEventListener("click", () => { drafts.drop(form); location.reload(); });
    told.append("Filled in as it was left on this phone. ", empty);
    form.before(told);
  }
  form.addEventListener("input", () => drafts.keep(form));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (form.dataset.busy) return;
    form.dataset.busy = "1";
    const said = new URLSearchParams(new FormData(form));
    if (event.submitter?.name) said.append(event.submitter.name, event.submitter.value);
    try {
      const answer = await ask(new URL(form.getAttribute("action"), location).pathname, { method: "POST", body: said });
      if (answer.redirected) { drafts.drop(form); location.assign(answer.url); }
      else { swap(await answer.text()); $(".told, .wrong")?.scrollIntoView({ block: "center" }); }
    } catch {
      say("No signal: what you typed stays here, on this phone; send it when there is a signal again");
      $("#signal").scrollIntoView();
    } finally {
      delete form.dataset.busy;
    }
  });
}

// A photo is made smaller on the phone, which also leaves behind where it was taken.
function shrinking(form) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const field = form.elements.photo, data = new FormData();
    data.set("token", form.elements.token.value);
    try {
      const picture = await createImageBitmap(field.files[0], { imageOrientation: "from-image" });
      const scale = Math.min(1, 1600 / Math.max(picture.width, picture.height));
      const canvas = new OffscreenCanvas(Math.round(picture.width * scale), Math.round(picture.height * scale));
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      data.set("photo", await canvas.convertToBlob({ type: "image/jpeg", quality: 0.85 }), "photo.jpg");
    } catch {
      data.set("photo", field.files[0]);
    }
    field.value = ""; // picking the same photo again would fire no change
    try {
      const answer = await fetch(form.action, { method: "POST", body: data });
      swap(await answer.text());
    } catch {
      say("No signal: the photo was not sent; take it again later");
    }
  });
}

// The sheet has no script of its own, so whoever opened it has it printed.
document.addEventListener("click", (tap) => {
  if (!tap.target.closest?.("#print")) return;
  const sheet = open($("#share").href);
  sheet?.addEventListener("load", () => sheet.print());
});

// Where the phone can hand a file on; elsewhere the link keeps it.
document.addEventListener("click", async (tap) => {
  const link = tap.target.closest?.("#share");
  if (!link || !navigator.canShare) return;
  tap.preventDefault();
  const answer = await fetch(link.href);
  const files = [new File([await answer.blob()], link.download, { type: "text/html" })];
  if (navigator.canShare({ files })) await navigator.share({ files }).catch(() => {});
  else location.assign(link.href);
});

addEventListener("online", () => { const visit = visitOf(); if (visit && document.body.dataset.carried) signal(visit); });
navigator.serviceWorker?.register("/worker.js");
begin();
