// The duty page on a phone: it keeps itself fresh, counts down, says when the server is out of
// reach, and holds what is tapped until the server has answered for it. Every word it shows
// comes from the page (data-... of #signal), so the catalogue has them all.

const main = document.getElementById("main");
const bar = document.getElementById("signal");
const EVERY_MS = 10000;
const MINUTE = 60000;
const OLD_MS = 30000;

const say = (name, values = {}) =>
  bar.dataset[name].replace(/\{(\w+)\}/g, (_, key) => values[key]);

// ---------------------------------------------------------------- the clock

// A device whose clock is more than a few seconds off takes the server's.
const OFF_MS = 3000;
let skew = Number(recall("skew")) || 0;
const now = () => Date.now() + skew;
// Whether the server's clock was seen since this page came; what is tapped before is timed then.
let sure = false;

function recall(name) {
  try { return localStorage.getItem(name); } catch { return null; }
}

function follow(serverMs, askedMs) {
  sure = true;
  const found = serverMs - (askedMs + Date.now()) / 2;
  if (Math.abs(found - skew) < OFF_MS) return;
  skew = Math.abs(found) < OFF_MS ? 0 : Math.round(found);
  try { localStorage.setItem("skew", skew); } catch { /* asked for again at the next page */ }
}

const clock = (ms) => new Intl.DateTimeFormat(document.documentElement.lang, {
  timeZone: bar.dataset.zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23",
}).format(ms);

function span(ms) {
  const minutes = Math.floor(ms / MINUTE);
  const hours = Math.floor(minutes / 60);
  if (hours < 2) return say("minutes", { minutes });
  if (hours < 48) return say("hours", { hours, minutes: minutes % 60 });
  return say("days", { days: Math.floor(hours / 24), hours: hours % 24 });
}

function until(ms) {
  if (ms < 0) return say("late", { time: span(-ms) });
  if (ms >= 60 * MINUTE) return say("in", { time: span(ms) });
  const seconds = String(Math.floor(ms / 1000) % 60).padStart(2, "0");
  return say("in", { time: say("seconds", { minutes: Math.floor(ms / MINUTE), seconds }) });
}

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
  element.hidden = text === "";
}

// ---------------------------------------------------------------- fresh from the server

let reached = navigator.onLine;
let asked = 0;
let workedOut = Infinity;
let asking = null;
let pressed = false;

function refresh() {
  asking ??= ask().finally(() => { asking = null; tick(); });
  return asking;
}

// What is asked already may not have seen what has happened since.
const anew = () => (asking ? asking.then(refresh) : refresh());

async function ask() {
  const before = asked = Date.now();
  if (before >= workedOut) workedOut = Infinity;
  try {
    const answer = await fetch(location.href, {
      headers: { Accept: "text/html" }, cache: "no-store", signal: AbortSignal.timeout(8000),
    });
    if ([401, 403, 404].includes(answer.status)) {
      if (answer.status === 401) await forget();
      location.reload();
      return;
    }
    const made = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = made.getElementById("main")?.dataset.now;
    // A hotspot that wants a password answers too, with a page of its own.
    if (!answer.ok || !fresh) throw new Error("not our page");
    follow(Date.parse(fresh), before);
    await apply(made);
    if (!reached) pause = 0;
    reached = true;
    send();
  } catch {
    reached = false;
  }
}

async function apply(made) {
  const script = (page) => page.querySelector("script[src]").getAttribute("src");
  if (script(made) !== script(document) && !loose.length && !filling()) {
    location.reload(); // the server was brought up to date
    return;
  }
  await unpressed();
  await reread();
  document.title = made.title;
  Object.assign(bar.dataset, made.getElementById("signal").dataset);
  patch(document.querySelector("header"), made.querySelector("header"));
  for (const note of main.querySelectorAll(".unsent")) note.remove();
  const held = document.activeElement;
  patch(main, made.getElementById("main"));
  if (held !== document.activeElement && held.isConnected) held.focus({ preventScroll: true });
  show();
}

// Nothing moves under a thumb; but one that is never seen to lift must not keep the page old.
async function unpressed() {
  const until = Date.now() + 3000;
  while (pressed && Date.now() < until) await new Promise((then) => { setTimeout(then, 50); });
}

const filling = () => document.querySelector("form:focus-within") !== null ||
  [...main.querySelectorAll("form[data-say] :is(input, select)")].some((field) =>
    (field.localName === "select" ? chosen(field)
      : field.value !== field.defaultValue || field.checked !== field.defaultChecked));

// What ends while somebody types in it stays until they have left it; sent, it is answered for.
const typedIn = (node) => node.contains(document.activeElement) &&
  document.activeElement.matches("form[data-say] :is(input, select)");

// The old page is made like the new one part by part, so that what stays keeps its focus, what
// is typed in it and whether it is folded open. Parts with an id, such as orders, are never
// taken for one another, nor is a button for another that says something else.
function patch(old, made) {
  if (old.isEqualNode(made)) return;
  if (!(old instanceof Element)) {
    old.nodeValue = made.nodeValue;
    return;
  }
  if (old.localName === "select" && (chosen(old) || old === document.activeElement)) return;
  const folds = old.localName === "details";
  for (const { name } of [...old.attributes]) {
    if (!made.hasAttribute(name) && !(folds && name === "open")) old.removeAttribute(name);
  }
  for (const { name, value } of made.attributes) {
    if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  const there = named(old);
  const wanted = named(made);
  for (const [name, node] of there) if (!wanted.has(name) && !typedIn(node)) node.remove();
  let at = old.firstChild;
  for (const [name, node] of wanted) {
    const same = there.get(name);
    if (same && same === at) at = at.nextSibling;
    else old.insertBefore(same ?? node, at);
    if (same) patch(same, node);
  }
}

function named(parent) {
  const found = new Map();
  for (const node of parent.childNodes) {
    let name = node.id;
    if (!name) {
      const it = (key) => node.getAttribute?.(key) ?? "";
      const says = /^(BUTTON|A)$/.test(node.nodeName) || node.type === "radio";
      const kind = [node.nodeName, it("class"), it("name"), says ? it("value") + it("href") : ""];
      let nth = 0;
      do name = `${kind} ${nth++}`; while (found.has(name));
    }
    found.set(name, node);
  }
  return found;
}

function chosen(select) {
  return select.selectedIndex !== Math.max(0, [...select.options].findIndex((o) => o.defaultSelected));
}

// ---------------------------------------------------------------- what was said

// Each word lies in the device's own database from the tap until the server has kept it, or
// refused it and somebody has read why. Without such a database it lives as long as the page.
const opened = new Promise((resolve) => {
  try {
    const opening = indexedDB.open("duty", 1);
    opening.onupgradeneeded = () =>
      opening.result.createObjectStore("words", { keyPath: "n", autoIncrement: true });
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => resolve(null);
  } catch {
    resolve(null);
  }
});
// Some browsers leave it unanswered for good.
const patience = new Promise((resolve) => { setTimeout(resolve, 2000, null); });
let loose = [];
let words = [];
// Done with here, also where the database would not let go of them.
const gone = new Set();

async function stored(mode, act) {
  const db = await Promise.race([opened, patience]);
  return new Promise((resolve, reject) => {
    const change = db.transaction("words", mode, { durability: "strict" });
    const asks = act(change.objectStore("words"));
    change.oncomplete = () => resolve(asks.result);
    change.onabort = () => reject(change.error);
  });
}

async function reread() {
  const kept = await stored("readonly", (store) => store.getAll()).catch(() => words);
  const held = new Set([...gone, ...loose.map((word) => word.id)]);
  words = [...kept.filter((word) => !held.has(word.id)), ...loose];
}

// Where the database takes no more, the word as it is now lives in the page.
async function keep(word) {
  const without = () => loose.filter((one) => one.id !== word.id);
  await stored("readwrite", (store) => store.put(word))
    .then(() => { loose = without(); }, () => { loose = [...without(), word]; });
  await reread();
}

async function drop(word) {
  gone.add(word.id);
  loose = loose.filter((one) => one.id !== word.id);
  if (word.n) await stored("readwrite", (store) => store.delete(word.n)).catch(() => {});
  await reread();
}

// Also over plain http on the site's network, where a browser has no randomUUID.
const newId = () =>
  [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");

const mine = (word) => !word.refused && word.who === bar.dataset.who;

// What a form is about: its hidden fields, without those that are of this very page.
const about = (form) => JSON.stringify([form.dataset.say, ...[...form.querySelectorAll("[type=hidden]")]
  .filter((field) => !["id", "csrf", "back", "shown"].includes(field.name)).map((field) => field.value)]);

function inWords(form, button) {
  const title = {
    answer: form.closest("article")?.querySelector("h3"), log: main.querySelector("h1"),
    "take-back": form.closest("li")?.querySelector("bdi"),
  };
  const typed = [...form.elements].map((field) => {
    if (field === button || !field.value || field.type === "hidden") return "";
    if (field.localName === "select") return field.selectedOptions[0].text;
    if (field.type === "radio") return field.checked ? field.parentElement.textContent : "";
    return field.localName === "input" ? field.value : "";
  });
  return [button?.textContent ?? "", title[form.dataset.say]?.textContent ?? "", ...typed]
    .map((text) => text.trim()).filter(Boolean).join(", ");
}

addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.say) {
    event.preventDefault();
    said(form, event.submitter);
  } else if (form.getAttribute("action") === "/out") {
    event.preventDefault();
    forget().finally(() => form.submit());
  }
});

// The enter key of a phone's keyboard is no button: what is logged is tapped.
addEventListener("keydown", (event) => {
  if (event.key === "Enter" && event.target.matches("form[data-say] input")) event.preventDefault();
});

let last = { says: "", which: "", at: 0 };

async function said(form, button) {
  const at = now();
  const fields = [...new FormData(form)]
    .filter(([name, value]) => value && !["id", "csrf", "back"].includes(name));
  if (button?.name) fields.push([button.name, button.value]);
  const says = JSON.stringify([form.dataset.say, fields]);
  const which = JSON.stringify([about(form), button?.name, button?.value]);
  // A wet thumb taps twice and means it once; by the second the form is empty, and would say
  // it of all that hangs there.
  const gap = performance.now() - last.at;
  if ((which === last.which && gap < 1000) || (says === last.says && gap < 2000)) return;
  last = { says, which, at: performance.now() };
  const untimed = !fields.some(([name]) => name === "at");
  if (untimed) fields.push(["at", new Date(at).toISOString()]);
  await keep({
    id: newId(), kind: form.dataset.say, fields, at, who: bar.dataset.who,
    about: about(form), what: inWords(form, button), ...(untimed && !sure ? { skew } : {}),
  });
  form.reset();
  show();
  pause = 0;
  send();
}

// ---------------------------------------------------------------- sent, in order, one at a time

let pause = 0;
let sending = false;
let again = 0;
let told = [];
// How often the server broke on a word: the others do not wait for it for ever.
const broke = new Map();
const next = () => words.find((word) => mine(word) && !(broke.get(word.id) >= 3)) ?? words.find(mine);

// Tapped before the server's clock was known: the moment is put right by it, once.
async function timed({ skew: then, ...word }) {
  word.at += skew - then;
  const at = new Date(word.at).toISOString();
  word.fields = word.fields.map(([name, value]) => [name, name === "at" ? at : value]);
  await keep(word);
  return word;
}

async function send() {
  if (sending) return;
  sending = true;
  clearTimeout(again);
  let sent = 0;
  try {
    await reread();
    for (let word = next(); word; word = next()) {
      if ("skew" in word && !sure) await refresh();
      if ("skew" in word && sure) word = await timed(word);
      const then = "skew" in word ? {} : await post(word);
      await unpressed();
      show();
      if (then === "kept") sent += 1;
      if (then === "kept" || then === "never") continue;
      pause = Math.max(then.wait ?? 0, Math.min(30000, Math.max(1000, pause * 2)));
      again = setTimeout(send, pause * (1 + Math.random() / 4));
      break;
    }
  } finally {
    sending = false;
  }
  if (!sent) return;
  await anew();
  // The monitor works out what it means; the page asks for that a little later.
  workedOut = Date.now() + 2000;
}

// Only what our own server says of this very word counts; anything else is no answer.
async function post(word) {
  let answer, data;
  try {
    answer = await fetch(`/say/${word.kind}`, {
      method: "POST",
      headers: { Accept: "application/json" },
      body: new URLSearchParams([...word.fields, ["id", word.id], ["csrf", bar.dataset.csrf]]),
      redirect: "error",
      signal: AbortSignal.timeout(15000),
    });
    data = await answer.json();
  } catch {
    reached = answer !== undefined && reached;
    return {};
  }
  if (answer.ok && data?.kept === true && data.id === word.id) {
    await drop(word);
    told = [...told, { lines: [data.says, ...data.notes], until: Date.now() + MINUTE }].slice(-2);
    return "kept";
  }
  if (data?.kept !== false) return {};
  if (data.then === "never") {
    const why = (data.problems ?? []).map((one) => `${one.says} ${one.remedy}`);
    await keep({ ...word, refused: [data.detail, ...why] });
    return "never";
  }
  if (answer.status === 500) broke.set(word.id, (broke.get(word.id) ?? 0) + 1);
  // Made before the device came in anew, or no longer in: the page tells which.
  if (data.then !== "again") await refresh();
  return { wait: Number(answer.headers.get("Retry-After")) * 1000 || 0 };
}

// ---------------------------------------------------------------- shown

const line = (kind, text) => Object.assign(document.createElement(kind), { textContent: text });
const unsent = (word) => say("unsent", { what: word.what, time: clock(word.at) });
let drawn = "";

function show() {
  const waits = words.filter(mine);
  const list = bar.querySelector("#waiting");
  list.hidden = !waits.length;
  put(list.querySelector("summary"), waits.length ? say("waiting", { count: waits.length }) : "");
  list.querySelector("ul").replaceChildren(...waits.map((word) => line("li", unsent(word))));
  put(bar.querySelector("#fragile"), loose.length ? say("fragile") : "");

  told = told.filter((one) => one.until > Date.now());
  const news = told.flatMap((one) => one.lines);
  const standing = words.filter((word) => !mine(word));
  const looks = JSON.stringify([news, standing]);
  if (looks !== drawn) {
    drawn = looks;
    bar.querySelector("#told").replaceChildren(...news.map((text) => line("p", text)));
    bar.querySelector("#refused").replaceChildren(...standing.map(refusal));
  }
  for (const note of main.querySelectorAll(".unsent")) note.remove();
  for (const form of main.querySelectorAll("form[data-say]")) {
    for (const word of waits) {
      if (word.about !== about(form)) continue;
      const note = line("p", unsent(word));
      note.className = "said unsent";
      form.append(note);
    }
  }
  tick();
}

function refusal(word) {
  const box = document.createElement("div");
  const button = line("button", say("dismiss"));
  button.type = "button";
  button.onclick = () => drop(word).then(show);
  const what = { what: word.what, time: clock(word.at), name: word.who };
  box.append(line("p", say(word.refused ? "refused" : "absent", what)));
  for (const text of word.refused ?? []) box.append(line("p", text));
  box.append(button);
  return box;
}

function tick() {
  const seen = Date.parse(main.dataset.now);
  const age = Math.max(0, now() - seen);
  const ago = age < MINUTE ? say("justNow") : say("ago", { time: span(age) });
  // A phone that was asleep has not asked yet, or a page is not answered: what stands is old.
  const fresh = reached && age < OLD_MS;
  put(bar.querySelector("#no-signal"), fresh ? "" : say("noSignal", { time: clock(seen), age: ago }));
  for (const count of main.querySelectorAll("[data-until]")) {
    put(count, until(Date.parse(count.dataset.until) - now()));
  }
  document.documentElement.style.setProperty("--bar", `${bar.offsetHeight}px`);
}

setInterval(() => {
  if (document.visibilityState !== "visible") return;
  if (Date.now() - asked >= EVERY_MS || Date.now() >= workedOut) refresh();
  if (told.some((one) => one.until < Date.now())) show();
  else tick();
}, 1000);

// ---------------------------------------------------------------- the browser around it

async function forget() {
  if ("caches" in window) await caches.delete("pages");
}

addEventListener("pointerdown", () => { pressed = true; }, true);
for (const kind of ["pointerup", "pointercancel"]) {
  addEventListener(kind, () => { pressed = false; }, true);
}
// What only this page holds would go with it.
addEventListener("beforeunload", (event) => { if (loose.length) event.preventDefault(); });
addEventListener("online", () => { pause = 0; anew(); send(); });
addEventListener("offline", () => { reached = false; tick(); anew(); });
addEventListener("pageshow", (event) => { if (event.persisted) refresh(); });
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") refresh();
});

// A page of the cache may have been kept of another fixture's address.
const fixture = main.querySelector("select[name=fixture]");
if (fixture && location.search) {
  fixture.value = new URLSearchParams(location.search).get("fixture") ?? "";
}

// Only over https, or on the server itself, may a page be kept for when there is no signal.
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.addEventListener("controllerchange", refresh);
  navigator.serviceWorker.register("/worker.js").catch(() => {});
  // A page that was on its way while the worker came is minded when it asks.
  navigator.serviceWorker.ready.then(({ active }) => {
    if (!navigator.serviceWorker.controller) active.postMessage("mind me");
  });
}

await reread();
show();
// Old, or ahead of a clock that is behind: either way the server is asked before it counts.
if (!reached || Math.abs(now() - Date.parse(main.dataset.now)) > 5000) refresh();
else {
  sure = true;
  asked = Date.now();
  send();
}
