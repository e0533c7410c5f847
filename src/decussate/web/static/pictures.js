// A touch on a picture moves its shape one step on, at once, and sends that step as the buttons of the test would.
// With a state chosen to paint, a touch sets it, and a drag sets it on every shape it crosses.
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

const brushes = new Map(); // the state chosen to paint, by picture: an answer redraws the choice too
const brushOf = (shape) => brushes.get(shape.closest(".picture").id) ?? "";
function restoreBrushes() {
  for (const [id, look] of brushes) {
    const picture = document.getElementById(id);
    picture?.classList.toggle("painting", look !== "");
    const choice = picture?.querySelector(`.brushes input[value="${look}"]`);
    if (choice) choice.checked = true;
  }
}
document.addEventListener("change", (event) => {
  if (!event.target.matches?.(".picture .brushes input[name^='brush-']")) return;
  brushes.set(event.target.closest(".picture").id, event.target.value);
  restoreBrushes();
});

function touchShape(shape) {
  const steps = JSON.parse(shape.dataset.steps);
  const before = Number(ahead.get(shape.id) ?? shape.dataset.now);
  const brush = brushOf(shape);
  const now = brush ? steps.findIndex(([, , look]) => look === brush) : (before + 1) % steps.length;
  if (now < 0 || (brush && now === before)) return;
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
document.addEventListener("htmx:finally:request", restoreBrushes);

let stroke = null; // ids of the shapes that the present drag has painted
function paint(shape) {
  if (!stroke || !shape || stroke.has(shape.id) || stroke.picture !== shape.closest(".picture")) return;
  stroke.add(shape.id);
  touchShape(shape);
}
document.addEventListener("pointerdown", (event) => {
  const shape = event.target.closest?.(".painting .spot");
  if (!shape || !event.isPrimary || event.button !== 0) return;
  event.target.releasePointerCapture?.(event.pointerId); // a finger would hold on to its first shape
  stroke = Object.assign(new Set(), { picture: shape.closest(".picture") });
  paint(shape);
});
document.addEventListener("pointermove", (event) => {
  if (stroke) paint(document.elementFromPoint(event.clientX, event.clientY)?.closest(".spot"));
});
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, () => { stroke = null; });
document.addEventListener("click", (event) => {
  const shape = event.target.closest?.(".spot");
  const painted = shape?.closest(".painting") && event.detail > 0; // when the finger went down
  if (shape && !painted) touchShape(shape);
});
document.addEventListener("keydown", (event) => {
  const shape = event.target.closest?.(".spot");
  if (!shape || (event.key !== "Enter" && event.key !== " ")) return;
  event.preventDefault();
  touchShape(shape);
});
