// The examiner's view of the patient's screen: what it shows, what to show next, and letters marked as read.
"use strict";

(() => {
  const byId = (name) => document.getElementById(name);
  const main = byId("main");
  const UNKNOWN_SCREEN = { width: 1280, height: 800, px_per_mm: null, ratio: 1 };
  const WORDS = { 1: "read", 0: "not read", "?": "not asked" };
  const SIGNS = { 1: "✓", 0: "✗", "?": "·" };
  const press = (buttons, key, value) => {
    for (const button of document.querySelectorAll(buttons)) button.setAttribute("aria-pressed", String(button.dataset[key] === String(value)));
  };

  const link = new PatientLink(main.dataset.place, {
    onState: show,
    onTrouble: (words) => { byId("trouble").textContent = words; },
  });

  const screenSeen = () => link.state.report ?? UNKNOWN_SCREEN;
  const rowNow = () => link.state.rows.find((row) => row.tenths === link.state.shown.row);
  const unfit = (row) => {
    const { shown } = link.state;
    if (!shown.distance_m) return "no distance yet";
    if (!screenSeen().px_per_mm) return "not calibrated";
    return PatientDrawing.rowFits(row, link.state, screenSeen(), link.content);
  };

  // The marks of the eye that reads now; none when they belong to other letters or another distance.
  function marksNow() {
    const { shown } = link.state;
    const marks = shown.marks[shown.eye];
    const same = marks && marks.optotypes === shown.optotypes && marks.chart_version === shown.chart_version && marks.distance_m === shown.distance_m;
    return same ? marks : { optotypes: shown.optotypes, chart_version: shown.chart_version, distance_m: shown.distance_m, single: false, rows: {} };
  }
  const patternNow = () => marksNow().rows[link.state.shown.row] ?? "?????";

  function setPattern(pattern, more = {}) {
    const { shown } = link.state;
    if (unfit(rowNow())) return;
    const marks = marksNow();
    const changed = { ...marks, single: marks.single || shown.single !== null, rows: { ...marks.rows, [shown.row]: pattern } };
    link.change({ marks: { ...shown.marks, [shown.eye]: changed }, ...more });
  }
  function markLetter(n) {
    const pattern = [...patternNow()];
    pattern[n] = { "?": "1", 1: "0", 0: "?" }[pattern[n]];
    const open = pattern.indexOf("?");
    const more = link.state.shown.single === null || open < 0 ? {} : { single: open };
    setPattern(pattern.join(""), more);
  }
  function finishRow(pattern) {
    const next = pattern.includes("1") ? neighbour(-1) : null;
    setPattern(pattern, next ? rowChange(next) : {});
  }

  function neighbour(step) {
    const fitting = link.state.rows.filter((row) => (row.tenths - link.state.shown.row) * step > 0 && !unfit(row));
    return step > 0 ? fitting.at(-1) : fitting[0];
  }
  const rowChange = (row) => ({ row: row.tenths, single: link.state.shown.single === null ? null : 0 });
  function stepRow(step) {
    const next = neighbour(step);
    if (next) link.change(rowChange(next));
  }

  // From a row that does not fit to the nearest one that does.
  function stepIntoScreen() {
    if (!unfit(rowNow())) return;
    const fitting = link.state.rows.filter((row) => !unfit(row));
    const apart = (row) => Math.abs(row.tenths - link.state.shown.row);
    fitting.sort((a, b) => apart(a) - apart(b));
    if (fitting.length) link.change(rowChange(fitting[0]));
  }

  function readWith(eye) {
    const { shown } = link.state;
    const marks = shown.marks[eye];
    // Another eye gets other letters, so that they are not learnt by heart.
    const versions = Object.values(shown.marks).map((one) => one.chart_version);
    const chart = marks
      ? { optotypes: marks.optotypes, chart_version: marks.chart_version }
      : { chart_version: Math.max(shown.chart_version, 0, ...versions) + 1 };
    if (eye !== shown.eye) link.change({ eye, ...chart });
  }
  function withoutMarks() {
    const { [link.state.shown.eye]: _, ...others } = link.state.shown.marks;
    return others;
  }
  function setDistance(metres) {
    if (metres === link.state.shown.distance_m) return;
    if (metres >= 0.3 && metres <= 10) {
      link.change({ distance_m: metres, marks: withoutMarks() });
      stepIntoScreen();
    } else byId("status").textContent = "A distance of 0.3 to 10 metres is needed.";
  }

  // What the page shows of the state.
  function show() {
    const { state, content } = link;
    if (!content) return;
    const { shown } = state;
    const screen = screenSeen();
    const stage = byId("stage");
    stage.style.aspectRatio = `${screen.width} / ${screen.height}`;
    stage.style.width = `min(100%, calc(${innerWidth < 900 ? 34 : 46}vh * ${screen.width / screen.height}))`; // the same shape as the patient’s screen
    PatientDrawing.draw(stage, state, content, screen);
    byId("status").textContent = statusWords();
    press("button[data-view]", "view", shown.view);
    press("button[data-ground]", "ground", shown.ground);
    press("button[data-distance]", "distance", shown.distance_m);
    press("button[data-eye]", "eye", shown.eye);
    for (const view of ["chart", "near", "words"]) byId(`panel-${view}`).hidden = shown.view !== view;
    if (document.activeElement !== byId("distance")) byId("distance").value = shown.distance_m ?? "";
    showChart();
    showScores();
    showWords();
    for (const button of early.splice(0)) button.click();
  }
  function statusWords() {
    const { state } = link;
    const report = state.report;
    if (!report) return "No patient’s screen has been opened yet.";
    const open = link.open ? "The patient’s screen is open" : "The patient’s screen is closed or out of reach";
    const measured = report.px_per_mm ? `calibrated at ${report.px_per_mm.toFixed(2)} pixels per mm` : "not calibrated: no letters are shown on it";
    return `${open}, ${measured}.`;
  }
  function showChart() {
    const { shown } = link.state;
    const row = rowNow();
    byId("optotypes").value = shown.optotypes;
    byId("alone").checked = shown.single !== null;
    byId("row-name").textContent = `Row ${(shown.row / 10).toFixed(1)} logMAR`;
    const why = unfit(row);
    byId("row-unfit").textContent = { "": "", "no distance yet": "Enter the measured distance first.", "not calibrated": "Calibrate the patient’s screen first." }[why] ?? `This row is ${why} for the patient’s screen at this distance.`;
    for (const button of document.querySelectorAll("#panel-chart [data-step]")) button.disabled = !neighbour(Number(button.dataset.step));
    for (const name of ["all-read", "rest-missed"]) byId(name).disabled = Boolean(why);
    const pattern = patternNow();
    const letters = byId("letters");
    while (letters.children.length < row.symbols.length) letters.append(letterButton(letters.children.length));
    row.symbols.forEach((symbol, n) => {
      const button = letters.children[n];
      const [drawing, name] = button.children;
      drawing.firstChild.setAttribute("href", `#optotype-${symbol.draw}`);
      drawing.firstChild.setAttribute("transform", `rotate(${symbol.turn} 2.5 2.5)`);
      name.textContent = `${SIGNS[pattern[n]]} ${WORDS[pattern[n]]}`;
      button.setAttribute("aria-label", `${symbol.name}: ${WORDS[pattern[n]]}`);
      button.className = { 1: "read", 0: "missed", "?": "" }[pattern[n]] + (shown.single === n ? " alone" : "");
      button.disabled = Boolean(why);
    });
    const marked = Object.entries(marksNow().rows).sort(([a], [b]) => b - a).map(([tenths, one]) => {
      const line = document.createElement("li");
      line.innerHTML = "<span></span> <span class=\"tick\"></span> <span></span>";
      const [size, ticks, count] = line.children;
      size.textContent = `${(tenths / 10).toFixed(1)}:`;
      ticks.textContent = [...one].map((sign) => SIGNS[sign]).join("");
      count.textContent = `${[...one].filter((sign) => sign === "1").length} of ${one.length}`;
      return line;
    });
    byId("marked").replaceChildren(...marked);
  }
  function letterButton(n) {
    const button = document.createElement("button");
    button.type = "button";
    const drawing = PatientDrawing.element("svg", { viewBox: "0 0 5 5", "aria-hidden": "true" }, button);
    PatientDrawing.element("use", {}, drawing);
    button.append(document.createElement("small"));
    button.addEventListener("click", () => markLetter(n));
    return button;
  }
  function showScores() {
    const { scores, shown } = link.state;
    const marked = (eye) => (shown.marks[eye] ? JSON.stringify(shown.marks[eye]) : "");
    for (const field of document.querySelectorAll('[name="px_per_mm"]')) field.value = link.state.report?.px_per_mm ?? "";
    for (const side of ["right", "left"]) {
      const score = scores[side];
      byId(`score-${side}`).textContent = score ? score.words || "not yet a score" : "nothing marked";
      byId(`wants-${side}`).textContent = score?.wants ?? "";
      byId(`reading-${side}`).value = marked(side);
      byId(`reading-${side}-pinhole`).value = marked(`${side} pinhole`);
      byId(`record-${side}`).disabled = !score?.words;
      const pinhole = scores[`${side} pinhole`];
      byId(`score-${side}-pinhole`).textContent = pinhole ? `Through the pinhole: ${pinhole.words || `not yet a score. ${pinhole.wants}`}` : "";
    }
  }
  function showWords() {
    const { shown } = link.state;
    const { languages } = link.content;
    const language = languages[shown.language];
    byId("language").value = shown.language;
    byId("test").value = shown.test;
    const name = byId("language").selectedOptions[0].textContent;
    const notes = [];
    if (language.not_reviewed) notes.push(`${name}: not yet reviewed by a native speaker.`);
    if (language.outdated.includes(shown.test)) notes.push("Made from an earlier wording of this test.");
    byId("review").textContent = notes.join(" ");
    const spoken = byId("spoken");
    spoken.textContent = language.say[shown.test];
    spoken.lang = shown.language;
    spoken.dir = language.direction;
    byId("meaning").textContent = shown.language === "en" ? "" : `It asks: ${languages.en.say[shown.test]}`;
    if (document.activeElement !== byId("own-words")) byId("own-words").value = shown.own_words;
  }

  // Touch and keys. What is touched before the state is known is done as soon as it is.
  const early = [];
  main.addEventListener("click", ({ target }) => {
    const button = target.closest("button");
    if (!button) return;
    if (!link.state) { early.push(button); return; }
    const { view, ground, distance, eye, step } = button.dataset;
    if (view) link.change({ view });
    if (ground) link.change({ ground });
    if (distance) setDistance(Number(distance));
    if (eye) readWith(eye);
    if (step) stepRow(Number(step));
  });
  byId("distance").addEventListener("change", ({ target }) => setDistance(Number(target.value.replace(",", "."))));
  byId("optotypes").addEventListener("change", ({ target }) => link.change({ optotypes: target.value, marks: withoutMarks() }));
  byId("other-letters").addEventListener("click", () => link.change({ chart_version: link.state.shown.chart_version + 1, marks: withoutMarks() }));
  byId("alone").addEventListener("change", ({ target }) => link.change({ single: target.checked ? Math.max(0, patternNow().indexOf("?")) : null }));
  byId("all-read").addEventListener("click", () => finishRow("11111"));
  byId("rest-missed").addEventListener("click", () => finishRow(patternNow().replaceAll("?", "0")));
  byId("panel-chart").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.matches("input, select, textarea")) return;
    if (/^[1-5]$/.test(event.key)) byId("letters").children[Number(event.key) - 1].click();
    else if (event.key === "a") byId("all-read").click();
    else if (event.key === "d") byId("rest-missed").click();
    else if (event.key === "ArrowUp") stepRow(1);
    else if (event.key === "ArrowDown") stepRow(-1);
    else return;
    event.preventDefault();
  });
  byId("language").addEventListener("change", ({ target }) => link.change({ language: target.value }));
  const showTest = (test) => link.change({ test, own_words: "" });
  byId("test").addEventListener("change", ({ target }) => showTest(target.value));
  for (const [name, step] of [["words-before", -1], ["words-next", 1]]) {
    byId(name).addEventListener("click", () => {
      const options = [...byId("test").options];
      const next = options[byId("test").selectedIndex + step];
      if (next) showTest(next.value);
    });
  }
  let typing;
  byId("own-words").addEventListener("input", ({ target }) => {
    clearTimeout(typing);
    typing = setTimeout(() => link.change({ own_words: target.value }), 300);
  });
  byId("clear-words").addEventListener("click", () => { byId("own-words").value = ""; link.change({ own_words: "" }); });
  window.addEventListener("resize", () => { if (link.state) show(); });
})();
