// The pictures of likely places: asked for once entries pause, so that no entry waits for them; a touch opens the place.
"use strict";

const PAUSE_MS = 900;
const pictured = document.getElementById("where-pictures");
if (pictured?.dataset.from) {
  let pause = 0;
  let drawn = "";
  const stale = (is) => document.querySelectorAll("#where-pictures, #where-findings").forEach((one) => one.classList.toggle("stale", is));
  const draw = async () => {
    const seen = document.getElementById("live").dataset.seen;
    if (seen === drawn) return;
    if (document.querySelector(".htmx-request")) {
      pause = setTimeout(draw, PAUSE_MS);
      return;
    }
    const answer = await fetch(pictured.dataset.from, { headers: { "HX-Request": "true" } }).catch(() => null);
    if (!answer?.ok || document.getElementById("live").dataset.seen !== seen) return;
    const opened = new Set([...document.querySelectorAll("#where-findings details[open]")].map((box) => box.id));
    const answered = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const partial of answered.querySelectorAll("hx-partial, template")) {
      const place = document.querySelector(partial.getAttribute("hx-target") ?? "#where-pictures");
      place.replaceChildren(...(partial.content ?? partial).childNodes);
    }
    for (const box of document.querySelectorAll("#where-findings details[id]")) box.open = opened.has(box.id);
    stale(false);
    drawn = seen;
  };
  const later = () => {
    if (document.getElementById("live").dataset.seen === drawn) return;
    stale(true);
    clearTimeout(pause);
    pause = setTimeout(draw, PAUSE_MS);
  };
  document.addEventListener("htmx:finally:request", later);
  window.addEventListener("DOMContentLoaded", later);
}

// The shapes are small: the nearest one counts, and is named. The list beside the picture does the same by keyboard.
const NEAR_PX = 24;
document.addEventListener("click", (event) => {
  const picture = event.target.closest?.(".where-picture svg");
  if (!picture) return;
  const away = (shape) => {
    const box = shape.getBoundingClientRect();
    return Math.hypot(box.x + box.width / 2 - event.clientX, box.y + box.height / 2 - event.clientY);
  };
  const nearest = (wanted) => [...picture.querySelectorAll(wanted)].sort((a, b) => away(a) - away(b))[0];
  const touched = nearest("g:has(> title)");
  const named = picture.parentElement.querySelector(".named");
  if (named) named.textContent = touched && away(touched) < NEAR_PX ? touched.querySelector("title").textContent : "";
  const placed = nearest("[data-place^='place-']");
  if (placed) showPlace(placed.dataset.place);
});
function showPlace(name) {
  const place = document.getElementById(name);
  if (!place) return false;
  const box = place.querySelector("details");
  box.open = true;
  box.querySelector("summary").focus();
  box.scrollIntoView({ block: "nearest" });
  return true;
}
document.addEventListener("click", (event) => {
  const link = event.target.closest?.(".where-picture a[href*='#place-']");
  if (link && showPlace(link.hash.slice(1))) {
    event.preventDefault();
    event.stopPropagation();
  }
}, true);

// What is told only when asked for: fetched when its box opens; without the script a link leads to it.
async function tell(box) {
  const from = box.dataset.told;
  delete box.dataset.told;
  const answer = await fetch(from, { headers: { "HX-Request": "true" } }).catch(() => null);
  const place = box.querySelector(".told");
  if (!answer?.ok) {
    box.dataset.told = from;
    place.textContent = "The server cannot be reached. Close and open this again.";
    return;
  }
  const told = new DOMParser().parseFromString(await answer.text(), "text/html");
  place.replaceChildren(...told.body.childNodes);
}
document.addEventListener("toggle", (event) => {
  if (event.target.open && event.target.dataset?.told) tell(event.target);
}, true);
// An answer that redraws the panel empties what was told; what still stands open is asked for again.
document.addEventListener("htmx:finally:request", () => document.querySelectorAll("details[open][data-told]").forEach(tell));
