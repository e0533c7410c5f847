// The audiogram: a touch on the chart writes a level into the table, and the chart is drawn from the table.
"use strict";

const LOWEST_DB = -10;
const STEP_DB = 5;
const MARKS = {
  "right air": ["M-6 0A6 6 0 1 0 6 0A6 6 0 1 0 -6 0", "M0 -7L7 6L-7 6Z"],
  "left air": ["M-6 -6L6 6M-6 6L6 -6", "M-6 -6H6V6H-6Z"],
  "right bone": ["M4 -6L-4 0L4 6", "M4 -6H-3V6H4"],
  "left bone": ["M-4 -6L4 0L-4 6", "M-4 -6H3V6H-4"],
};
const chartForm = document.querySelector("form.hearing");
if (chartForm) {
  const chart = chartForm.querySelector("svg");
  const [left, top_, octave] = [chart.dataset.left, chart.dataset.top, chart.dataset.octave].map(Number);
  const fields = [...chartForm.querySelectorAll("input[name^='level ']")].map((input) => {
    const [, ear, way, hz] = input.name.split(" ");
    return { input, ear, curve: `${ear} ${way}`, hz: Number(hz), x: left + octave * Math.log2(hz / 125) };
  });
  const made = (name, look) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(look)) element.setAttribute(key, value);
    return element;
  };
  const levelOf = (field) => {
    const found = /^\s*([-−]?\d+(?:\.\d+)?)\s*([mn\s]*)$/i.exec(field.input.value);
    if (!found) return null;
    const level = Number(found[1].replace("−", "-"));
    return { ...field, y: top_ + ((level - LOWEST_DB) / 20) * octave, masked: /m/i.test(found[2]), silent: /n/i.test(found[2]) };
  };
  const draw = () => {
    const drawn = [];
    for (const curve of Object.keys(MARKS)) {
      const levels = fields.filter((field) => field.curve === curve).map(levelOf).filter(Boolean);
      const out = curve.startsWith("right") ? -1 : 1;
      levels.forEach((one, n) => {
        const next = levels[n + 1];
        if (next && curve.endsWith("air") && !one.silent && !next.silent) {
          drawn.push(made("line", { class: `${one.ear} joined`, x1: one.x, y1: one.y, x2: next.x, y2: next.y }));
        }
        const x = one.x + (curve.endsWith("bone") ? 11 * out : 0);
        drawn.push(made("path", { class: "mark", d: MARKS[curve][one.masked ? 1 : 0], transform: `translate(${x} ${one.y})` }));
        if (one.silent) drawn.push(made("path", { class: "mark", d: `M${5 * out} 6L${13 * out} 16M${13 * out} 9V16H${6 * out}`, transform: `translate(${x} ${one.y})` }));
      });
    }
    chart.querySelector(".marks").replaceChildren(...drawn);
  };
  chart.addEventListener("click", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(chart.getScreenCTM().inverse());
    const data = new FormData(chartForm);
    const near = (field) => Math.abs(field.x - point.x);
    const [field] = fields.filter((one) => one.curve === data.get("curve")).sort((a, b) => near(a) - near(b));
    const level = Math.round((((point.y - top_) / octave) * 20 + LOWEST_DB) / STEP_DB) * STEP_DB;
    if (level < LOWEST_DB || level > 120) return;
    const written = `${level}${data.has("masked") ? " m" : ""}${data.has("silent") ? " n" : ""}`;
    field.input.value = field.input.value === written ? "" : written; // the same touch again takes it away
    draw();
  });
  chartForm.addEventListener("input", draw);
  draw();
}
