// A touch on a picture moves its shape one step on, at once, and sends that step as the buttons of the test would.
"use strict";

const HATCHED = { part: "url(#hatch-part)", full: "url(#hatch-full)" };

function touchShape(shape) {
  const steps = JSON.parse(shape.dataset.steps);
  const now = (Number(shape.dataset.now) + 1) % steps.length;
  const [mark, said, look, spoken] = steps[now];
  const button = shape.closest("form").querySelector(".touch");
  const name = shape.getAttribute("aria-label");
  const where = name.slice(0, name.lastIndexOf(": "));
  button.value = mark;
  button.dataset.words = `${where}: ${spoken}`;
  button.click();
  // Shown before the server has answered, so that quick touches and touches without a server go on from here.
  shape.dataset.now = now;
  shape.setAttribute("class", `spot ${look}`);
  const words = shape.querySelector(".said");
  const untested = now === steps.length - 1;
  const pupil = shape.querySelector(".pupil");
  if (pupil) words.textContent = untested ? words.dataset.was : `✓ ${said}`;
  else words.textContent = said;
  if (HATCHED[look] && !pupil) shape.querySelector(".area").setAttribute("fill", HATCHED[look]);
  else shape.querySelector(".area").removeAttribute("fill");
  shape.setAttribute("aria-label", `${where}: ${spoken}`);
}
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
