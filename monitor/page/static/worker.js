// Keeps the pages last seen, each by its address, with the files they name, for when there is no
// signal. Never an answer to anything said; and nothing of a device that has been signed out.

const PAGES = "pages";
const FILES = "files";
const NO_SIGNAL = "/no-signal";
const PATIENCE_MS = 4000;
const MOST = 60;
const ANEW = 12;
const KEPT = /^\/((rig|sky|history|feeds|print|sheet|you)(\/|$)|$)/;
const CHANGES = /^\/(out$|you(\/|$)|in\/)/;

// Counts who comes, goes and changes: a page asked for before is not kept after.
let turn = 0;

addEventListener("install", (event) => {
  skipWaiting();
  event.waitUntil(caches.open(FILES).then((files) => files.add(NO_SIGNAL)).catch(() => {}));
});

for (const kind of ["activate", "message"]) {
  addEventListener(kind, (event) => event.waitUntil(clients.claim()));
}

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.method === "POST" && CHANGES.test(pathname)) event.respondWith(changed(event, pathname));
  if (request.method !== "GET") return;
  if (pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (KEPT.test(pathname)) page(event);
});

// Who goes takes all pages along at once. How the device likes them is only of their looks:
// they stay until the new ones can be had, and are had at once.
async function changed(event, pathname) {
  const stays = pathname === "/you";
  const known = stays ? (await (await caches.open(PAGES)).keys()).slice(-ANEW) : [];
  if (!stays) await wipe();
  try {
    return await fetch(event.request);
  } finally {
    if (!stays || navigator.onLine) {
      await wipe();
      // Its language may be another one from now on.
      const files = await caches.open(FILES);
      await files.delete(NO_SIGNAL);
      await files.add(NO_SIGNAL).catch(() => {});
      event.waitUntil(anew(known));
    }
  }
}

async function anew(known) {
  for (const { url } of known) {
    const began = turn;
    await fetch(url, { headers: { Accept: "text/html" } })
      .then((answer) => keep(new Request(url), answer, began)).catch(() => {});
  }
}

async function wipe() {
  turn += 1;
  await caches.delete(PAGES);
}

async function file(request) {
  return (await caches.match(request, { cacheName: FILES, ignoreVary: true })) ?? fetch(request);
}

function page(event) {
  const { request } = event;
  const began = turn;
  const asked = fetch(request);
  event.waitUntil(asked.then((answer) => keep(request, answer.clone(), began)).catch(() => {}));
  event.respondWith(request.mode === "navigate" ? soon(request, asked) : asked);
}

// A signal that hangs is as good as none, where there is a page to show instead.
async function soon(request, asked) {
  const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE_MS); });
  const answer = await Promise.race([asked.catch(() => undefined), late]);
  if (answer && answer.status < 502) return answer;
  const options = { cacheName: PAGES, ignoreVary: true };
  const seen = (await caches.match(request, options)) ??
    (await caches.match(request, { ...options, ignoreSearch: true }));
  if (seen) return seen;
  try {
    return await asked;
  } catch {
    return (await caches.match(NO_SIGNAL, { cacheName: FILES, ignoreVary: true })) ?? Response.error();
  }
}

async function keep(request, answer, began) {
  if (answer.status === 401) return wipe();
  // A hotspot that wants a password answers in our place; it has no such header.
  const ours = answer.headers.get("Content-Security-Policy")?.startsWith("default-src 'none'");
  if (!answer.ok || answer.redirected || !ours) return undefined;
  const text = await answer.text();
  const files = await caches.open(FILES);
  const named = new Set([NO_SIGNAL, ...(text.match(/\/static\/[\w.-]+/g) ?? [])]);
  await Promise.allSettled([...named].map(async (path) => {
    if (!(await files.match(path, { ignoreVary: true }))) await files.add(path);
  }));
  if (began !== turn) return undefined;
  const pages = await caches.open(PAGES);
  await pages.put(request.url, new Response(text, { headers: answer.headers }));
  if (began !== turn) return wipe();
  return Promise.all([trim(pages), trim(files)]);
}

async function trim(cache) {
  const known = await cache.keys();
  await Promise.all(known.slice(0, -MOST).map((one) => cache.delete(one)));
}
