// Draws what the patient sees, at its true size or as the examiner's small copy of it.
"use strict";

const PatientDrawing = (() => {
  const SVG = "http://www.w3.org/2000/svg";
  const LETTER_GAP = 1; // as wide as a letter, by the layout of logarithmic charts
  const MARGIN = 0.04;
  const LETTER_LEAST_PIXELS = 10; // five strokes of two pixels, for print as for letters

  function element(name, attributes, parent) {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    parent?.append(made);
    return made;
  }

  // How tall a small letter of the page's typeface is, as a part of its size.
  let xPart = 0;
  function partOfX() {
    if (xPart) return xPart;
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = `1000px ${FACE}`;
    xPart = pen.measureText("x").actualBoundingBoxAscent / 1000;
    return xPart;
  }
  const FACE = '"Times New Roman", "Liberation Serif", "DejaVu Serif", serif';

  // A row fits when it is neither too wide nor too fine for the screen.
  function rowFits(row, state, screen, content) {
    const height = row.mm_at_1_m * state.shown.distance_m * screen.px_per_mm;
    const letters = state.shown.single === null ? content.letters_a_row : 1;
    const width = height * (letters + (letters - 1) * LETTER_GAP);
    if (width > screen.width * (1 - 2 * MARGIN) || height > screen.height * (1 - 2 * MARGIN)) return "too large";
    return (height / 5) * screen.ratio < content.stroke_pixels ? "too fine" : "";
  }

  function say(svg, words) {
    const { width, height } = svg.viewBox.baseVal;
    const text = element("text", { x: width / 2, y: height / 2, class: "note", "text-anchor": "middle", "font-size": Math.max(16, width / 32) }, svg);
    text.textContent = words;
  }

  function drawChart(svg, state, screen, content) {
    const row = state.rows.find((one) => one.tenths === state.shown.row);
    const unfit = rowFits(row, state, screen, content);
    if (unfit) return say(svg, `This row is ${unfit} for this screen.`);
    const height = row.mm_at_1_m * state.shown.distance_m * screen.px_per_mm;
    const { single } = state.shown;
    const symbols = single === null ? row.symbols : [row.symbols[single]];
    const left = (screen.width - height * (2 * symbols.length - 1)) / 2;
    symbols.forEach((symbol, n) => {
      const place = `translate(${left + 2 * height * n} ${(screen.height - height) / 2}) scale(${height / 5}) rotate(${symbol.turn} 2.5 2.5)`;
      element("use", { href: `#optotype-${symbol.draw}`, transform: place, class: "optotype" }, svg);
    });
  }

  // Sentences where the language has them, else rings as tall as the small letters would be.
  function drawNear(svg, state, screen, content) {
    const sentences = content.languages[state.shown.language].near;
    const lines = [];
    let used = screen.height * MARGIN;
    for (let n = content.near.length - 1; n >= 0; n -= 1) {
      const size = content.near[n];
      const x = size.x_height_mm * screen.px_per_mm;
      if (x * screen.ratio < LETTER_LEAST_PIXELS) continue;
      const line = { size, x, height: x * 3.2, n };
      if (used + line.height > screen.height * (1 - MARGIN)) break;
      used += line.height;
      lines.unshift(line);
    }
    let y = (screen.height - used) / 2;
    for (const { size, x, height, n } of lines) {
      y += height;
      const left = screen.width * MARGIN;
      const label = element("text", { x: left, y, class: "near-label", "font-size": 14 }, svg);
      label.textContent = `N${size.n}`;
      if (sentences.length) {
        const text = element("text", { x: left + 44, y, class: "near-text", "font-size": x / partOfX(), "font-family": FACE }, svg);
        // On a narrow screen, as many of its words as fit.
        const words = sentences[n].split(" ");
        do text.textContent = words.join(" ");
        while (text.getComputedTextLength() > screen.width - 2 * left - 44 && words.pop() && words.length);
        if (!words.length) { text.remove(); label.remove(); }
      } else {
        const turns = [0, 1, 2, 3, 4].map((k) => 45 * ((3 * n + 5 * k) % 8)); // no two alike in a row
        if (left + 44 + x * 9 > screen.width * (1 - MARGIN)) { label.remove(); continue; }
        turns.forEach((turn, k) => element("use", { href: "#optotype-C", class: "optotype", transform: `translate(${left + 44 + 2 * x * k} ${y - x}) scale(${x / 5}) rotate(${turn} 2.5 2.5)` }, svg));
      }
    }
    if (!svg.querySelector(".near-label")) say(svg, "This screen is too coarse for small print.");
  }

  function drawFixation(svg, state, screen, content) {
    const metres = state.shown.distance_m ?? 1;
    const [outer, inner] = content.fixation_degrees.map(
      (degrees) => Math.tan((degrees * Math.PI) / 360) * metres * 1000 * (screen.px_per_mm ?? 3.8),
    );
    const [x, y] = [screen.width / 2, screen.height / 2];
    element("circle", { cx: x, cy: y, r: outer, class: "mark" }, svg);
    element("path", { d: `M${x - outer} ${y}H${x + outer}M${x} ${y - outer}V${y + outer}`, class: "cross", "stroke-width": 2 * inner }, svg);
    element("circle", { cx: x, cy: y, r: inner, class: "mark" }, svg);
  }

  function drawRed(svg, screen, content) {
    element("circle", { cx: screen.width / 2, cy: screen.height / 2, r: (content.red_mm / 2) * (screen.px_per_mm ?? 3.8), class: "red" }, svg);
  }

  // The largest letters in which the words fit beside their drawing.
  function fitWords(box) {
    const words = box.querySelector(".say");
    let [low, high] = [4, 200];
    while (high - low > 1) {
      const middle = (low + high) / 2;
      words.style.fontSize = `${middle}px`;
      if (words.scrollHeight > words.clientHeight || words.scrollWidth > words.clientWidth) high = middle;
      else low = middle;
    }
    words.style.fontSize = `${low}px`;
  }

  function drawWords(stage, state, content) {
    const language = content.languages[state.shown.language];
    const own = state.shown.own_words.trim();
    const box = document.createElement("div");
    box.className = "words";
    const picture = own ? "" : content.pictures[state.shown.test];
    if (picture) {
      const svg = element("svg", { viewBox: "0 0 200 200", class: "picture", "aria-hidden": "true" }, box);
      element("use", { href: `#picture-${picture}` }, svg);
    }
    const say = document.createElement("p");
    say.className = "say";
    say.textContent = own || language.say[state.shown.test];
    if (!own) { say.lang = state.shown.language; say.dir = language.direction; } else say.dir = "auto";
    box.append(say);
    const notes = own ? [] : [language.not_reviewed].filter(Boolean);
    if (notes.length) {
      const note = document.createElement("p");
      note.className = "review";
      note.lang = state.shown.language;
      note.dir = language.direction;
      note.textContent = notes[0];
      box.append(note);
    }
    stage.append(box);
    fitWords(box);
  }

  // screen: width and height in CSS pixels, px_per_mm (null when not calibrated), ratio of device to CSS pixels.
  function draw(stage, state, content, screen) {
    const { view, ground } = state.shown;
    stage.replaceChildren();
    const paper = view === "chart" || view === "near";
    stage.dataset.ground = paper ? "bright" : ground;
    stage.dataset.shows = view;
    if (view === "words") return drawWords(stage, state, content);
    const svg = element("svg", { viewBox: `0 0 ${screen.width} ${screen.height}`, class: "sheet", role: "img", "aria-label": NAMES[view] }, stage);
    if (view === "blank") return undefined;
    if (view === "red") return drawRed(svg, screen, content);
    if (!screen.px_per_mm) return say(svg, "Measure this screen with a card first.");
    if (view === "fixation") return drawFixation(svg, state, screen, content);
    if (view === "near") return drawNear(svg, state, screen, content);
    if (!state.shown.distance_m) return say(svg, "Measure the distance first.");
    return drawChart(svg, state, screen, content);
  }

  const NAMES = { blank: "Blank", chart: "A row of the chart", near: "Near card", red: "Red target", fixation: "Fixation mark" };
  return { draw, rowFits, element, NAMES };
})();
