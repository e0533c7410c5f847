// The patient's own screen: what is shown, its calibration against a card, and controls that work without the examiner's view.
"use strict";

const KEPT = "patient-screen-calibration";
const [CARD_LONG_MM, CARD_SHORT_MM, CARD_CORNER_MM] = [85.6, 53.98, 3.18];
const PLAUSIBLE_PX_PER_MM = 96 / 25.4;
const byId = (name) => document.getElementById(name);
const stage = byId("stage");
const VIEWS = ["blank", "chart", "near", "red", "fixation", "words"];

// Kept in pixels of the screen itself, so that the browser's zoom does not undo it; another screen asks for its own.
function thisScreen() {
  return [screen.width, screen.height].sort((a, b) => a - b).join("x");
}
function calibration() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    return kept && kept.screen === thisScreen() ? kept.device_px_per_mm / devicePixelRatio : null;
  } catch {
    return null;
  }
}

function measurements() {
  return { width: innerWidth, height: innerHeight, px_per_mm: calibration(), ratio: devicePixelRatio };
}

let reported = "";
function draw() {
  const { state, content } = link;
  if (!state || !content) return;
  const now = measurements();
  PatientDrawing.draw(stage, state, content, now);
  const mark = JSON.stringify(now);
  if (mark !== reported) {
    reported = mark;
    link.post("report", now).catch(() => { reported = ""; });
  }
  for (const button of document.querySelectorAll("button[data-view]")) button.setAttribute("aria-pressed", String(button.dataset.view === state.shown.view));
  byId("row-name").textContent = `Row ${(state.shown.row / 10).toFixed(1)} logMAR`;
  byId("measured").textContent = now.px_per_mm
    ? `Calibrated: ${now.px_per_mm.toFixed(2)} pixels per mm. Measure again after moving to another screen.`
    : "This screen has not been measured with a card: letters are not shown before.";
}

const link = new PatientLink(document.body.dataset.place, {
  patient: true,
  onState: draw,
  onTrouble: (words) => {
    const zoomed = visualViewport && Math.abs(visualViewport.scale - 1) > 0.01;
    byId("trouble").textContent = zoomed ? "The page is zoomed: sizes are not true. Zoom out." : words;
  },
});
window.addEventListener("resize", draw);

function stepRow(step) {
  const { state, content } = link;
  if (!state?.shown.distance_m) return;
  const wanted = state.rows.filter(
    (row) => (row.tenths - state.shown.row) * step > 0 && !PatientDrawing.rowFits(row, state, measurements(), content),
  );
  const next = step > 0 ? wanted.at(-1) : wanted[0];
  if (next) link.change({ row: next.tenths });
}

function showControls(open) {
  byId("controls").hidden = !open;
  byId("open-controls").setAttribute("aria-expanded", String(open));
  if (open) {
    byId("own-distance").value = link.state?.shown.distance_m ?? "";
    byId("controls").querySelector("button").focus();
  } else byId("open-controls").focus();
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input")) return;
  if (event.key === "ArrowUp") stepRow(1);
  else if (event.key === "ArrowDown") stepRow(-1);
  else if (event.key === "Escape") showControls(false);
  else if (/^[0-5]$/.test(event.key)) link.change({ view: VIEWS[Number(event.key)] });
  else return;
  event.preventDefault();
}
stage.tabIndex = 0;
for (const place of [stage, byId("controls")]) place.addEventListener("keydown", onKey);

byId("open-controls").addEventListener("click", () => showControls(byId("controls").hidden));
byId("close-controls").addEventListener("click", () => showControls(false));
byId("full").addEventListener("click", () => document.documentElement.requestFullscreen?.());
byId("controls").addEventListener("click", ({ target }) => {
  const button = target.closest("button");
  if (button?.dataset.view) link.change({ view: button.dataset.view });
  if (button?.dataset.step) stepRow(Number(button.dataset.step));
});
byId("set-distance").addEventListener("click", () => {
  const metres = Number(byId("own-distance").value.replace(",", "."));
  if (metres >= 0.3 && metres <= 10) link.change({ distance_m: metres });
  else byId("row-name").textContent = "A distance of 0.3 to 10 metres is needed.";
});

// The card: its long side in CSS pixels is what the slider and the buttons change.
const slider = byId("card-width");
function showCard() {
  const perMm = Number(slider.value) / CARD_LONG_MM;
  const upright = innerWidth < innerHeight && innerWidth < 700;
  const [wide, tall] = upright ? [CARD_SHORT_MM, CARD_LONG_MM] : [CARD_LONG_MM, CARD_SHORT_MM];
  const card = byId("card");
  const [width, height] = [Math.ceil(wide * perMm) + 4, Math.ceil(tall * perMm) + 4];
  card.replaceChildren();
  for (const [name, value] of Object.entries({ width, height, viewBox: `0 0 ${width} ${height}` })) card.setAttribute(name, value);
  PatientDrawing.element("rect", { x: 1, y: 1, width: wide * perMm, height: tall * perMm, rx: CARD_CORNER_MM * perMm }, card);
  const y = 12 * perMm;
  PatientDrawing.element("path", { d: `M${2 * perMm} ${y - 6}v12M${2 * perMm} ${y}h${50 * perMm}m0 -6v12` }, card);
  const text = PatientDrawing.element("text", { x: 4 * perMm, y: y + 22, "font-size": 16 }, card);
  text.textContent = "50 mm";
  byId("card-says").textContent = `${perMm.toFixed(2)} pixels per mm`;
}
function calibrating(open) {
  byId("calibration").hidden = !open;
  if (!open) { draw(); byId("open-controls").focus(); return; }
  showControls(false);
  slider.value = (calibration() ?? PLAUSIBLE_PX_PER_MM) * CARD_LONG_MM;
  showCard();
  slider.focus();
}
byId("calibrate").addEventListener("click", () => calibrating(true));
byId("leave-calibration").addEventListener("click", () => calibrating(false));
slider.addEventListener("input", showCard);
byId("calibration").addEventListener("click", ({ target }) => {
  const grow = target.closest("[data-grow]")?.dataset.grow;
  if (!grow) return;
  slider.value = Number(slider.value) + Number(grow);
  showCard();
});
byId("calibration").addEventListener("keydown", (event) => { if (event.key === "Escape") calibrating(false); });
byId("keep-calibration").addEventListener("click", () => {
  const device_px_per_mm = (Number(slider.value) / CARD_LONG_MM) * devicePixelRatio;
  localStorage.setItem(KEPT, JSON.stringify({ device_px_per_mm, screen: thisScreen() }));
  calibrating(false);
});

// The screen must not go dark while the patient looks at it.
async function stayAwake() {
  try { await navigator.wakeLock?.request("screen"); } catch { /* the device may refuse; the screen then dims as usual */ }
}
document.addEventListener("visibilitychange", () => { if (!document.hidden) stayAwake(); });
stayAwake();
