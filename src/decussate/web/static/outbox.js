// Entries wait in this browser until the server has saved them, and are sent once, in their order.
//
// They are kept in IndexedDB and not in localStorage: a write there is a transaction that can be asked to reach the disk
// before it is reported as done, so that what was touched outlives a crash of the browser. An entry has an identity from
// the moment of the touch; sent twice, it is one entry. As soon as the server has answered, it is deleted here. An entry is
// its examiner's: it waits through locking and signing out, and is sent when that person is signed in here again. Until then
// nobody can read it here: it is sealed (AES-GCM) with a key that the server holds and a page of that person is given.
"use strict";

const RETRY_MS = 3000;
const { person, personName, outboxKey } = document.body.dataset;
const opened = new Promise((ready, fail) => {
  const asked = indexedDB.open("decussate-outbox", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "number", autoIncrement: true });
  asked.onsuccess = () => ready(asked.result);
  asked.onerror = () => fail(asked.error);
});

function kept(mode, deed) {
  return opened.then((database) => new Promise((done, fail) => {
    const deal = database.transaction("entries", mode, { durability: "strict" });
    const asked = deed(deal.objectStore("entries"));
    deal.oncomplete = () => done(asked.result);
    deal.onabort = deal.onerror = () => fail(deal.error);
  }));
}
const everyones = () => kept("readonly", (entries) => entries.getAll());
const waiting = async () => Promise.all((await everyones()).filter((row) => row.person === person).map(unsealed));
const mine = waiting;
const forget = (number) => kept("readwrite", (entries) => entries.delete(number));

const bytes = (base64) => Uint8Array.from(atob(base64), (sign) => sign.charCodeAt(0));
const sealing = outboxKey && crypto.subtle.importKey("raw", bytes(outboxKey), "AES-GCM", false, ["encrypt", "decrypt"]);
async function keep({ number, uncertain, person: whose, personName: name, ...inside }) {
  const iv = crypto.getRandomValues(new Uint8Array(12));
  const sealed = await crypto.subtle.encrypt({ name: "AES-GCM", iv }, await sealing, new TextEncoder().encode(JSON.stringify(inside)));
  const row = { person: whose, personName: name, uncertain, iv, sealed };
  return kept("readwrite", (entries) => entries.put(number === undefined ? row : { number, ...row }));
}
async function unsealed({ iv, sealed, ...row }) {
  if (!sealed) return row;
  try {
    const inside = await crypto.subtle.decrypt({ name: "AES-GCM", iv }, await sealing, sealed);
    return { ...row, ...JSON.parse(new TextDecoder().decode(inside)) };
  } catch {
    return { ...row, action: "", body: "", words: "an entry", refused: "It was sealed for another database, and cannot be read for this one." };
  }
}
// Sealing takes a moment: one after the other, so that quick touches keep their order.
let keeping = Promise.resolve();
const keepNext = (entry) => (keeping = keeping.catch(() => undefined).then(() => keep(entry)));

// What is refused for now and taken later: the server cannot save it, is asked too often, or wants something of the person first.
const later = (answer) => answer.status >= 500 || answer.status === 429 || ["change", "enrol"].includes(answer.headers.get("not-admitted"));
const seconds = (answer) => Number(answer?.headers?.get("retry-after")) || 0;

// While the server does not answer, nothing overtakes what waits.
let behind = false;
let retry = 0;

function fellBehind(answer) {
  behind = true;
  clearTimeout(retry);
  retry = setTimeout(sendWaiting, Math.max(RETRY_MS, seconds(answer) * 1000));
  showWaiting();
}

document.addEventListener("htmx:config:request", (event) => {
  const ctx = event.detail.ctx;
  const { action, body, submitter } = ctx.request;
  const isEntry = ctx.request.method === "POST" && body instanceof FormData && body.has("entry");
  if (event.defaultPrevented || !isEntry) return;
  const seen = document.getElementById("live")?.dataset.seen;
  if (seen) ctx.request.headers["Seen-Entry"] = seen;
  if (behind && action.endsWith("/undo")) {
    // What waits was not recorded yet: undo takes the last of it back, not an entry of before.
    event.preventDefault();
    takeBackWaiting();
    return;
  }
  const words = submitter?.dataset.words || submitter?.getAttribute("aria-label") || submitter?.textContent.trim() || "Story";
  const entry = { action, body: new URLSearchParams(body).toString(), words, refused: "", person, personName };
  ctx.outbox = keepNext(entry).catch(notKept);
  if (!behind) return;
  event.preventDefault();
  submitter?.classList.add("waiting");
  ctx.outbox.then(showWaiting);
});
function notKept(problem) {
  const place = document.getElementById("message");
  if (place) place.textContent = `✖ This browser cannot keep entries while they wait (${problem?.name}). Keep the page open.`;
  return undefined;
}
document.addEventListener("htmx:before:request", (event) => {
  const ctx = event.detail.ctx;
  if (behind && ctx.outbox) {
    ctx.request.submitter?.classList.add("waiting");
    event.preventDefault();
    showWaiting();
  }
});
document.addEventListener("htmx:finally:request", async (event) => {
  const ctx = event.detail.ctx;
  if (ctx.response?.status === 401) behind = true; // kept until that person is signed in again, and so is what follows
  if (!ctx.outbox || ctx.response?.status === 401) return;
  if (ctx.response && !later(ctx.response)) {
    const number = await ctx.outbox;
    if (number !== undefined) await forget(number);
  } else {
    ctx.request.submitter?.classList.add("waiting");
    const number = await ctx.outbox;
    if (number !== undefined && nobodyKnows(ctx.response)) await markUncertain(number);
    fellBehind(ctx.response);
  }
});

// The database broke off while it wrote: the entry may or may not be saved. It is sent again under its identity, and so is
// recorded once in either case; until the server has answered it cannot be taken back.
const nobodyKnows = (answer) => answer?.headers?.get("recorded") === "uncertain";
async function markUncertain(number) {
  const row = await kept("readonly", (entries) => entries.get(number));
  if (row) await kept("readwrite", (entries) => entries.put({ ...row, uncertain: true }));
}

function say(words) {
  const box = Object.assign(document.createElement("div"), { className: "problem", textContent: words });
  document.getElementById("message")?.replaceChildren(box);
}

async function takeBackWaiting() {
  const last = (await mine()).filter((entry) => !entry.refused).pop();
  if (!last) return;
  if (last.uncertain) {
    say(`✖ Not taken back: whether it is saved is not known yet (${last.words}). Undo it once the server has answered.`);
    return;
  }
  await forget(last.number);
  document.querySelectorAll(".waiting").forEach((button) => {
    if ((button.dataset.words || button.getAttribute("aria-label")) === last.words) button.classList.remove("waiting");
  });
  showWaiting();
}

async function showWaiting() {
  const place = document.getElementById("waiting");
  const [others, all] = [(await everyones()).filter((row) => row.person !== person), await mine()];
  const held = all.filter((entry) => !entry.refused);
  place.replaceChildren();
  for (const name of new Set(others.map((row) => row.personName))) {
    const words = document.createElement("p");
    const count = others.filter((row) => row.personName === name).length;
    words.textContent = `⧗ ${count === 1 ? "1 entry waits" : `${count} entries wait`} on this device until ${name} is signed in here.`;
    place.append(words);
  }
  if (behind && held.length) {
    const words = document.createElement("p");
    const count = held.length === 1 ? "1 entry waits" : `${held.length} entries wait`;
    words.textContent = `⧗ ${count} on this device: the server cannot be reached. Kept here, to be sent in order.`;
    const uncertain = held.filter((entry) => entry.uncertain);
    if (uncertain.length) words.textContent += ` May or may not be saved: ${uncertain.map((entry) => entry.words).join("; ")}. It is sent again and never recorded twice.`;
    place.append(words, button("Send now", sendWaiting));
    const last = document.querySelector(".dock .last");
    if (last) last.textContent = `Waiting: ${held[held.length - 1].words}`;
    const undo = document.querySelector(".dock form button");
    if (undo) undo.setAttribute("aria-label", `Undo: ${held[held.length - 1].words}`);
  }
  for (const entry of all.filter((one) => one.refused)) {
    const words = document.createElement("p");
    words.textContent = `✖ Not taken: ${entry.words}. ${entry.refused}`;
    place.append(words, button("Remove", () => forget(entry.number).then(showWaiting)));
  }
}
function button(words, deed) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.addEventListener("click", deed);
  return made;
}

async function sendWaiting() {
  clearTimeout(retry);
  if (!person) return;
  const alone = (deed) => (navigator.locks ? navigator.locks.request("decussate-outbox", { ifAvailable: true }, (lock) => lock && deed()) : deed());
  await alone(async () => {
    let sent = false;
    for (let next; (next = (await mine()).find((entry) => !entry.refused)); sent = true) {
      let answer;
      try {
        const headers = { "Content-Type": "application/x-www-form-urlencoded", "HX-Request": "true", "Signed-In-As": person };
        answer = await fetch(next.action, { method: "POST", body: next.body, headers, signal: AbortSignal.timeout(15000) });
        if (nobodyKnows(answer)) await markUncertain(next.number);
        if (later(answer)) throw new Error("it is taken later");
      } catch {
        fellBehind(answer);
        return;
      }
      if (answer.status === 401) {
        location.reload(); // locked or signed out: the page asks for the password, and what waits is kept
        return;
      }
      if (answer.ok) await forget(next.number);
      else {
        const said = new DOMParser().parseFromString(await answer.text(), "text/html").body.textContent;
        next.refused = said.replace(/\s+/g, " ").trim() || `The server refused it (${answer.status}).`;
        await keep(next);
      }
    }
    behind = false;
    document.querySelectorAll(".waiting").forEach((one) => one.classList.remove("waiting"));
    await showWaiting();
    if (sent) lookForOthers(true);
  });
}
// A start, a wake from sleep, and the network's return all try at once.
window.addEventListener("online", sendWaiting);
document.addEventListener("visibilitychange", () => { if (!document.hidden) sendWaiting(); });
window.addEventListener("DOMContentLoaded", async () => {
  behind = (await mine()).some((entry) => !entry.refused); // what waited before goes first
  await showWaiting();
  await sendWaiting();
});

// What another device entered in the same examination appears here without reload.
const LOOK_MS = 3000;
async function lookForOthers(again) {
  const live = document.getElementById("live");
  if (!live || document.hidden || behind || (!again && document.querySelector(".htmx-request"))) return;
  const address = `${live.dataset.from}?after=${live.dataset.seen}`;
  try {
    const answer = await fetch(address, { headers: { "HX-Request": "true" } });
    if (answer.status === 401) location.reload(); // locked in another window: this one shows nothing either
    if (answer.status === 200) await htmx.ajax("GET", address, { swap: "none" });
  } catch {
    // The server is away: entries say so when there are any.
  }
}
if (document.getElementById("live")) setInterval(lookForOthers, LOOK_MS);

// The page shown when the server is away comes back by itself.
const away = document.querySelector("[data-away]");
if (away) {
  setInterval(async () => {
    const answer = await fetch("/health").catch(() => null);
    if (answer?.ok) location.reload();
  }, RETRY_MS);
}
navigator.serviceWorker?.register("/service-worker.js");
