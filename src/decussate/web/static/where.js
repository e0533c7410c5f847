// The pictures of likely places: asked for once entries pause, so that no entry waits for them; a touch opens the place.
"use strict";

const PAUSE_MS = 900;
const pictured = document.getElementById("where-pictures");
if (pictured?.dataset.from) {
  let pause = 0;
  let drawn = "";
  const draw = async () => {
    const seen = document.getElementById("live").dataset.seen;
    if (seen === drawn) return;
    if (document.querySelector(".htmx-request")) {
      pause = setTimeout(draw, PAUSE_MS);
      return;
    }
    const answer = await fetch(pictured.dataset.from, { headers: { "HX-Request": "true" } }).catch(() => null);
    if (!answer?.ok || document.getElementById("live").dataset.seen !== seen) return;
    const partial = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("hx-partial, template");
    pictured.replaceChildren(...(partial.content ?? partial).childNodes);
    pictured.classList.remove("stale");
    drawn = seen;
  };
  const later = () => {
    if (document.getElementById("live").dataset.seen === drawn) return;
    pictured.classList.add("stale");
    clearTimeout(pause);
    pause = setTimeout(draw, PAUSE_MS);
  };
  document.addEventListener("htmx:finally:request", later);
  window.addEventListener("DOMContentLoaded", later);
}

// The shapes are small: the nearest one counts. The list beside the picture does the same by keyboard.
document.addEventListener("click", (event) => {
  const picture = event.target.closest?.(".where-picture svg");
  if (!picture) return;
  const away = (shape) => {
    const box = shape.getBoundingClientRect();
    return Math.hypot(box.x + box.width / 2 - event.clientX, box.y + box.height / 2 - event.clientY);
  };
  const [nearest] = [...picture.querySelectorAll("[data-place^='place-']")].sort((a, b) => away(a) - away(b));
  if (nearest) showPlace(nearest.dataset.place);
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
