// Whose page this is: it locks when nobody touches it, and asks for the password when the server does.
"use strict";

const LOOK_AT_CLOCK_MS = 5000;
const STILL_HERE_MS = 60000;
const TOUCHED = "decussate-touched"; // shared by the windows of this browser: a touch in one keeps all open
const owner = document.body.dataset.person;

// Whose page sent it goes with every request, so that nothing is recorded in another's name.
document.addEventListener("htmx:config:request", (event) => {
  if (owner) event.detail.ctx.request.headers["Signed-In-As"] = owner;
});

// Not signed in any more: the same address then asks for the password. Entries are kept by then.
document.addEventListener("htmx:finally:request", async (event) => {
  const { ctx } = event.detail;
  if (ctx.response?.status !== 401) return;
  await ctx.outbox;
  location.reload();
});

// What was typed and not yet sent waits for the same person on the same page, in this window alone.
const TYPED = "decussate-typed";
const typing = () => [...document.querySelectorAll("main textarea[id][name]:not([data-draft], [hidden])")];
addEventListener("pagehide", () => {
  const words = typing().filter((field) => field.value !== field.defaultValue).map((field) => [field.id, field.value]);
  if (owner && words.length) sessionStorage.setItem(TYPED, JSON.stringify({ owner, path: location.pathname, words }));
});
function typedBefore() {
  const kept = JSON.parse(sessionStorage.getItem(TYPED) ?? "null");
  if (!kept || kept.owner !== owner || kept.path !== location.pathname) return;
  sessionStorage.removeItem(TYPED);
  for (const field of typing()) {
    const words = kept.words.find(([id]) => id === field.id);
    if (words) field.value = words[1];
  }
}

function touched() {
  localStorage.setItem(TOUCHED, Date.now());
}
let told = Date.now();
async function lookAtClock() {
  const idle = Date.now() - Number(localStorage.getItem(TOUCHED));
  if (idle > Number(document.body.dataset.lockMinutes) * 60000) {
    await fetch("/lock", { method: "POST", body: new URLSearchParams({ back: "/" }), redirect: "manual" }).catch(() => null);
    location.reload(); // with the server away, this shows the page that says so, and nothing of a patient
  } else if (idle < STILL_HERE_MS && Date.now() - told > STILL_HERE_MS) {
    told = Date.now();
    await fetch("/still-here", { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, body: "" }).catch(() => null);
  }
}
if (owner) {
  typedBefore();
  touched();
  for (const kind of ["pointerdown", "keydown", "wheel", "touchmove"]) addEventListener(kind, touched, { passive: true, capture: true });
  setInterval(lookAtClock, LOOK_AT_CLOCK_MS);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) lookAtClock(); });
}

// Whoever only reads is offered nothing that would be refused; the server refuses it all the same.
function refuseEntry() {
  const entries = document.querySelectorAll("main form[method='post'][action^='/examinations'] :is(button, input, select, textarea):enabled");
  for (const one of entries) one.disabled = true;
}
if ("readsOnly" in document.body.dataset) {
  refuseEntry();
  new MutationObserver(refuseEntry).observe(document.body, { childList: true, subtree: true });
}

// A password can be looked at while it is typed.
for (const button of document.querySelectorAll("[data-shows]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    const field = document.getElementById(button.dataset.shows);
    const shown = field.type === "password";
    field.type = shown ? "text" : "password";
    button.setAttribute("aria-pressed", String(shown));
    field.focus();
  });
}
document.querySelector("[data-signing-in] input:not([type='hidden']):not([hidden])")?.focus();
