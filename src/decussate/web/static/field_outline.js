// A field drawn by hand: a drag round a part of the chart is one line, sent in degrees when the finger lifts.
// Taps set the corners of a line one by one, for hands that cannot drag; the table does the same by keyboard.
"use strict";

const TAP_PX = 6;
const WORDS = { lost: "a part not seen", seen: "all that is seen" };
const drawingWay = () => document.querySelector("input[name='field-way']:checked")?.value || "";
const linesOf = new WeakMap(); // the points tapped so far, by form

function chartPoint(svg, event) {
  return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
}
function showLine(form, points, open) {
  const line = form.querySelector("svg .line");
  if (!line) return;
  const shape = document.createElementNS("http://www.w3.org/2000/svg", open ? "polyline" : "polygon");
  shape.setAttribute("points", points.map((point) => `${point.x.toFixed(1)},${point.y.toFixed(1)}`).join(" "));
  const corners = open && linesOf.get(form) ? points : [];
  line.replaceChildren(shape, ...corners.map((point) => {
    const corner = document.createElementNS("http://www.w3.org/2000/svg", "circle");
    for (const [name, value] of [["cx", point.x], ["cy", point.y], ["r", 4]]) corner.setAttribute(name, value);
    return corner;
  }));
}
function tapped(form) {
  const points = linesOf.get(form) ?? [];
  form.querySelector(".tapped").hidden = points.length === 0;
  form.querySelector(".close-line").disabled = points.length < 3;
}
function dropLine(form) {
  linesOf.delete(form);
  form.querySelector("svg .line").replaceChildren();
  tapped(form);
}
function sendLine(form, points) {
  const { x, y, unit } = form.querySelector("svg").dataset;
  const way = drawingWay();
  form.elements.line.value = points
    .map((point) => `${((point.x - x) / unit).toFixed(1)},${((y - point.y) / unit).toFixed(1)}`).join(";");
  linesOf.delete(form);
  tapped(form);
  showLine(form, points, false); // it stays until the server has answered, or while the entry waits
  const button = form.querySelector(".stroke");
  button.value = way;
  button.dataset.words = `Field of the ${form.elements.eye.value} eye: ${WORDS[way]}`;
  button.click();
  form.elements.line.value = "";
}

document.addEventListener("pointerdown", (event) => {
  const svg = event.target.closest?.(".field-outline svg");
  if (!svg || !drawingWay() || !event.isPrimary || event.button !== 0) return;
  event.preventDefault();
  const form = svg.closest("form");
  const from = { x: event.clientX, y: event.clientY };
  const points = [chartPoint(svg, event)];
  let dragged = false;
  svg.setPointerCapture(event.pointerId);
  const move = (moved) => {
    if (moved.pointerId !== event.pointerId) return;
    dragged ||= Math.hypot(moved.clientX - from.x, moved.clientY - from.y) > TAP_PX;
    for (const one of moved.getCoalescedEvents?.() ?? [moved]) points.push(chartPoint(svg, one));
    if (dragged) showLine(form, points, true);
  };
  const end = (ended) => {
    if (ended.pointerId !== event.pointerId) return;
    for (const [name, deed] of [["pointermove", move], ["pointerup", end], ["pointercancel", end]]) svg.removeEventListener(name, deed);
    if (ended.type === "pointercancel") return dropLine(form);
    if (dragged) {
      linesOf.delete(form);
      return sendLine(form, points);
    }
    linesOf.set(form, [...(linesOf.get(form) ?? []), points[0]]);
    showLine(form, linesOf.get(form), true);
    tapped(form);
  };
  svg.addEventListener("pointermove", move);
  svg.addEventListener("pointerup", end);
  svg.addEventListener("pointercancel", end);
});
document.addEventListener("click", (event) => {
  const form = event.target.closest?.(".field-outline");
  if (!form) return;
  if (event.target.closest(".close-line")) sendLine(form, linesOf.get(form) ?? []);
  if (event.target.closest(".drop-line")) dropLine(form);
});
document.addEventListener("change", (event) => {
  if (event.target.name === "field-way") {
    document.getElementById("picture-field-outline").classList.toggle("drawing", drawingWay() !== "");
    document.querySelectorAll(".field-outline").forEach(dropLine);
  }
  // The other eye was most likely tested in the same way.
  if (event.target.matches?.(".field-outline select")) {
    document.querySelectorAll(".field-outline select").forEach((one) => { one.value = event.target.value; });
  }
});
// A line that was refused is taken off the chart; what was recorded comes back in the server's drawing.
document.addEventListener("htmx:after:request", (event) => {
  const { request, response } = event.detail.ctx;
  const form = request.submitter?.closest(".field-outline");
  if (form && response) form.querySelector("svg .line").replaceChildren();
});
