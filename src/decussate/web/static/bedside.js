// Double touches, refusals, links to tests, the focus, copying and printing. The pages work without it, by plain forms.
"use strict";

const DOUBLE_TOUCH_MS = 500;
let lastTouch = { mark: "", at: 0 };

// Every deed gets an identity of its own here, where it happens; a double touch is one deed.
document.addEventListener("htmx:config:request", (event) => {
  const body = event.detail.ctx.request.body;
  if (!(body instanceof FormData) || !body.has("entry")) return;
  const words = [...body].filter(([name]) => name !== "entry").flat();
  const mark = [event.detail.ctx.request.action, ...words].join("\n");
  const now = performance.now();
  if (mark === lastTouch.mark && now - lastTouch.at < DOUBLE_TOUCH_MS) {
    event.preventDefault();
    return;
  }
  lastTouch = { mark, at: now };
  body.set("entry", newIdentity());
});

// A random UUID (RFC 9562, version 4). The browser's own maker of them is missing on a page fetched over plain HTTP.
function newIdentity() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return digits.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

// An answer that is not a page of ours (a refusal, a fault of the server) is said too.
document.addEventListener("htmx:response:error", (event) => {
  const { response, text, outbox } = event.detail.ctx;
  if (outbox && response.status >= 500) return; // kept, and sent again
  if (response.headers.get("content-type")?.startsWith("text/html")) return;
  const box = document.createElement("div");
  box.className = "problem";
  box.textContent = response.status < 500
    ? `✖ ${text}`
    : `✖ The server failed (${response.status}). Reload the page to see what was recorded.`;
  document.getElementById("message")?.replaceChildren(box);
});
// A page taken from the browser's memory may be out of date.
window.addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });

// What sticks below the alerts must know how tall they are.
const alerts = document.getElementById("alerts");
if (alerts) {
  new ResizeObserver(() => {
    const tall = Math.min(alerts.offsetHeight, innerHeight * 0.4);
    document.documentElement.style.setProperty("--alerts", `${tall}px`);
  }).observe(alerts);
}

// A link to a test opens what it lies in, fetches it if need be, and puts the focus on its first button.
async function reveal(hash) {
  const name = decodeURIComponent(hash.slice(1));
  if (!name) return;
  if (name.startsWith("test-") && !document.getElementById(name)) {
    const further = document.querySelector(`.further[data-tests~="${CSS.escape(name.slice(5))}"]`);
    if (further) {
      further.open = true;
      await fetchFurther(further);
    }
  }
  const place = document.getElementById(name);
  if (!place) return;
  for (let box = place; box; box = box.parentElement?.closest("details")) if (box.tagName === "DETAILS") box.open = true;
  if (place.classList.contains("group")) place.querySelector("details").open = true;
  const results = document.getElementById("results");
  if (results?.matches(":popover-open")) results.hidePopover();
  place.scrollIntoView({ block: "start" });
  place.querySelector(".choice, summary")?.focus({ preventScroll: true });
}
window.addEventListener("hashchange", () => reveal(location.hash));
window.addEventListener("DOMContentLoaded", () => reveal(location.hash));
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href]");
  if (link?.hash && link.pathname === location.pathname) {
    event.preventDefault();
    history.replaceState(null, "", link.hash);
    reveal(link.hash);
  }
  if (event.target.closest("[data-print]")) print();
  event.target.closest("[data-close]")?.closest(".problem").remove();
  const copy = event.target.closest("[data-copy]");
  if (copy) {
    const said = document.getElementById("copied");
    const place = document.getElementById(copy.dataset.copy);
    copyText(place.value ?? place.textContent).then(
      () => { said.textContent = "Copied."; },
      () => { said.textContent = "Could not copy: select the text by hand."; },
    );
  }
});

// The clipboard of the browser is missing on a page fetched over plain HTTP; what is selected can be copied everywhere.
async function copyText(text) {
  if (navigator.clipboard) return navigator.clipboard.writeText(text);
  const field = Object.assign(document.createElement("textarea"), { value: text, className: "unseen" });
  const before = document.activeElement;
  document.body.append(field);
  field.select();
  const copied = document.execCommand("copy");
  field.remove();
  before?.focus();
  if (!copied) throw new Error("not copied");
}

// A scale closes as its grade is touched, not when the answer comes: the page never moves on its own. What is typed closes
// it when it was recorded; what was refused leaves it open, with the typing in it.
function closeScale(button) {
  const scale = button?.closest(".scale");
  if (!scale?.open) return;
  if (scale.contains(document.activeElement)) scale.querySelector("summary").focus({ preventScroll: true });
  scale.open = false;
}
document.addEventListener("htmx:config:request", (event) => {
  const { submitter } = event.detail.ctx.request;
  if (submitter?.matches(".choice")) closeScale(submitter);
});
document.addEventListener("htmx:after:request", (event) => {
  const { request, response } = event.detail.ctx;
  if (response?.status < 400) closeScale(request.submitter);
  else if (request.submitter?.matches(".scale .choice")) request.submitter.closest(".scale").open = true;
});

// An answer moves nothing under a finger: it waits until the finger is lifted and what it touched has heard of it.
const HEARD_MS = 50;
const fingers = new Set();
let lifted = Promise.resolve();
let letGo = () => {};
document.addEventListener("pointerdown", (event) => {
  if (event.pointerType === "mouse") return; // lifted outside the window, it is never heard of
  if (!fingers.size) lifted = new Promise((done) => { letGo = done; });
  fingers.add(event.pointerId);
}, true);
for (const end of ["pointerup", "pointercancel"]) {
  document.addEventListener(end, (event) => {
    if (fingers.delete(event.pointerId) && !fingers.size) setTimeout(letGo, HEARD_MS);
  }, true);
}
document.addEventListener("htmx:config:request", (event) => {
  event.detail.ctx.fetch = async (...asked) => {
    const answer = await fetch(...asked);
    await lifted;
    return answer;
  };
});

// A button that goes with its answer (all normal, both normal, undo) hands the focus to what it stood in.
document.addEventListener("htmx:config:request", (event) => {
  const { ctx } = event.detail;
  ctx.stoodIn = document.activeElement?.closest(".test, .group, #dock")?.id;
});
document.addEventListener("htmx:finally:request", (event) => {
  const { stoodIn } = event.detail.ctx;
  if (!stoodIn || document.activeElement !== document.body) return;
  document.querySelector(`#${stoodIn} :is(textarea, details > summary, .choice, button, a)`)?.focus({ preventScroll: true });
});
