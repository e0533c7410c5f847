// The keys of the examination. They act while the heading of a part or a test has the focus, and never while text is typed.
"use strict";

// Up and down go through these as they stand open: the headings of parts, their tests, and what holds more tests.
const STOPS = ".paths > summary, .group > details > summary, .test, .further > summary";

// What is typed within a test: the measurement, why it could not be tested, why one held back is done all the same.
const FIELDS = { m: "value", c: "reason", d: "although" };

function focusIn(stop, side = 0) {
  const cells = [...stop.querySelectorAll(".cell")];
  const place = cells[Math.min(side, cells.length - 1)] ?? stop;
  const button = stop.matches("summary") ? stop : place.querySelector('[aria-pressed="true"].choice, .choice');
  button.focus({ preventScroll: true });
  stop.scrollIntoView({ block: "nearest" });
}

function move(stop, side, step) {
  const stops = [...document.querySelectorAll(STOPS)].filter((one) => one.checkVisibility());
  const next = stops[stops.indexOf(stop) + step];
  if (next) focusIn(next, side);
}

function keyInTest(key, test, at) {
  const cells = [...test.querySelectorAll(".cell")];
  const cell = at.closest(".cell") ?? cells[0];
  if (key === "ArrowLeft") focusIn(test, 0);
  else if (key === "ArrowRight") focusIn(test, cells.length - 1);
  else if (/^[0-9]$/.test(key)) cell.querySelector(`[data-key="${key}"]`)?.click();
  else if (key === "b") test.querySelector(".both")?.click();
  else if (key === "o") cell.querySelector(".known")?.click();
  else if (key === "h") test.querySelector(".how > summary").click();
  else if (key in FIELDS) {
    const field = cell.querySelector(`input[name^="${FIELDS[key]}"]`);
    if (!field) return false;
    for (let box = field; (box = box.parentElement.closest(".scale")); ) box.open = true;
    field.select();
  } else return false;
  return true;
}

function keyAtStop(key, stop, at) {
  const test = stop.matches(".test") ? stop : null;
  const side = test ? [...test.querySelectorAll(".cell")].indexOf(at.closest(".cell")) : 0;
  if (key === "ArrowDown" || key === "ArrowUp") move(stop, Math.max(side, 0), key === "ArrowDown" ? 1 : -1);
  else if (key === "Escape") focusIn((stop.closest(".group") ?? document).querySelector("details > summary"));
  else if (key === "a") stop.closest(".group")?.querySelector(".sweep button")?.click();
  else if (key === "n") document.querySelector(".dock .next")?.click();
  else if (key === "u") document.querySelector(".dock form button")?.click();
  else return test !== null && keyInTest(key, test, at);
  return true;
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const measure = event.target.closest?.(".measure");
  if (measure && event.key === "Enter") {
    event.preventDefault();
    const record = measure.querySelector("button");
    if (record) record.click();
    else measure.parentElement.querySelector(".choice").focus(); // the reason comes first, then the response
    return;
  }
  const typing = event.target.closest?.("input, textarea, select");
  const stop = event.target.closest?.(STOPS);
  if (stop && (!typing || event.key === "Escape") && keyAtStop(event.key, stop, event.target)) event.preventDefault();
});

// The arrow keys pass over the choices of the story on their way. What they end on counts, once the focus leaves it.
let passing = false;
let passed = null;
document.addEventListener("pointerdown", () => { passing = false; }, true);
document.addEventListener("keydown", (event) => { passing = event.key.startsWith("Arrow"); }, true);
document.addEventListener("change", (event) => {
  if (!passing || event.target.type !== "radio") return;
  passed = event.target;
  event.stopPropagation();
}, true);
document.addEventListener("focusout", (event) => {
  if (!passed || event.relatedTarget?.name === passed.name) return;
  const settled = passed;
  [passing, passed] = [false, null];
  settled.dispatchEvent(new Event("change", { bubbles: true }));
});
