// Keeps the page itself on the phone: what it is made of, and nothing of any visit.

const KEPT = "stillflow-2";
const SHELL = ["/offline", "/static/phone.css", "/static/phone.js", "/static/carry.js", "/static/drafts.js", "/static/telling.js",
  "/static/reading.js", "/static/store.js", "/static/icon.svg", "/manifest.json"];
const PATIENCE = 5000;

addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((kept) => kept.addAll(SHELL)).then(() => skipWaiting()));
});

addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== KEPT) await caches.delete(name);
    await clients.claim();
  })());
});

addEventListener("fetch", (event) => {
  const { request } = event, address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (SHELL.includes(address.pathname)) event.respondWith(newest(request, address.pathname));
  else if (request.mode === "navigate") event.respondWith(page(request));
});

async function newest(request, path) {
  const kept = await caches.open(KEPT);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
    if (answer.ok) await kept.put(path, answer.clone());
    return answer;
  } catch {
    return (await kept.match(path)) ?? Response.error();
  }
}

async function page(request) {
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE) });
    if (answer.status < 500) return answer;
  } catch { /* no signal */ }
  return (await (await caches.open(KEPT)).match("/offline")) ?? Response.error();
}
