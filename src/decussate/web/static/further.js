// The further tests of a part are fetched when it is opened, or quietly before, so that they open without the server too.
"use strict";

const QUIET_MS = 1500;
const LATER_MS = 30000;
const newestSeen = () => document.getElementById("live")?.dataset.seen;

// Resolves to whether they are there now. What was drawn before an entry came in between is out of date: asked for again.
const underWay = new Map();
function fetchFurther(box) {
  if (!box.dataset.from) return Promise.resolve(true);
  if (!underWay.has(box)) underWay.set(box, askFurther(box).finally(() => underWay.delete(box)));
  return underWay.get(box);
}
async function askFurther(box) {
  for (;;) {
    const seen = newestSeen();
    const answer = await fetch(box.dataset.from, { headers: { "HX-Request": "true" } }).catch(() => null);
    if (!answer?.ok) return false;
    const drawn = new DOMParser().parseFromString(await answer.text(), "text/html");
    await lifted;
    if (newestSeen() !== seen) continue;
    const place = box.lastElementChild;
    place.replaceChildren(...drawn.body.childNodes);
    htmx.process(place);
    delete box.dataset.from;
    return true;
  }
}
document.addEventListener("toggle", (event) => {
  if (event.target.open && event.target.matches?.(".further")) fetchFurther(event.target);
}, true);

async function fetchQuietly() {
  for (const box of document.querySelectorAll(".further[data-from]")) {
    const busy = document.querySelector(".htmx-request");
    if (busy || document.hidden || !(await fetchFurther(box))) {
      setTimeout(fetchQuietly, busy ? QUIET_MS : LATER_MS);
      return;
    }
  }
}
window.addEventListener("load", () => setTimeout(fetchQuietly, QUIET_MS));
