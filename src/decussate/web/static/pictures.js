// A touch on a picture moves its shape one step on, at once, and sends that step as the buttons of the test would.
"use strict";

const HATCHED = { part: "url(#hatch-part)", full: "url(#hatch-full)" };

// Steps shown ahead of the server. While answers are still due, an answer to an earlier touch must not set a shape back.
const ahead = new Map();
let due = 0;
let forgetting = 0;

function forgetAhead() {
  due = 0;
  ahead.clear();
}

function show(shape, now) {
  const [, said, look, spoken] = JSON.parse(shape.dataset.steps)[now];
  const name = shape.getAttribute("aria-label");
  shape.dataset.now = now;
  shape.setAttribute("class", `spot ${look}`);
  const words = shape.querySelector(".said");
  const untested = now === JSON.parse(shape.dataset.steps).length - 1;
  const pupil = shape.querySelector(".pupil");
  if (pupil) words.textContent = untested ? words.dataset.was : `✓ ${said}`;
  else words.textContent = said;
  if (HATCHED[look] && !pupil) shape.querySelector(".area").setAttribute("fill", HATCHED[look]);
  else shape.querySelector(".area").removeAttribute("fill");
  shape.setAttribute("aria-label", `${name.slice(0, name.lastIndexOf(": "))}: ${spoken}`);
}

function touchShape(shape) {
  const steps = JSON.parse(shape.dataset.steps);
  const now = (Number(ahead.get(shape.id) ?? shape.dataset.now) + 1) % steps.length;
  const [mark, , , spoken] = steps[now];
  const button = shape.closest("form").querySelector(".touch");
  const name = shape.getAttribute("aria-label");
  button.value = mark;
  button.dataset.words = `${name.slice(0, name.lastIndexOf(": "))}: ${spoken}`;
  ahead.set(shape.id, now);
  due += 1;
  button.click();
  // Shown before the server has answered, so that quick touches and touches without a server go on from here.
  show(shape, now);
  clearTimeout(forgetting);
  forgetting = setTimeout(forgetAhead, 3000);
}
document.addEventListener("htmx:finally:request", (event) => {
  if (!event.detail.ctx.request.submitter?.classList.contains("touch")) return;
  due = Math.max(0, due - 1);
  if (due === 0) forgetAhead();
  for (const [id, now] of ahead) {
    const shape = document.getElementById(id);
    if (shape) show(shape, now);
  }
});
document.addEventListener("click", (event) => {
  const shape = event.target.closest?.(".spot");
  if (shape) touchShape(shape);
});
document.addEventListener("keydown", (event) => {
  const shape = event.target.closest?.(".spot");
  if (!shape || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  touchShape(shape);
});
