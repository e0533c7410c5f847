// Timers and counters. The forms work without it, by typed times and counts.
"use strict";

(() => {
  const forms = Object.fromEntries([...document.querySelectorAll("form[data-timer]")].map((form) => [form.dataset.timer, form]));
  const round = (seconds) => (Math.round(seconds * 10) / 10).toFixed(1);

  // One running clock a form: a steady clock, so that a change of the device's time does not matter.
  function clockOf(form) {
    const face = form.querySelector("[data-clock]");
    let from = null;
    let ticking = null;
    const seconds = () => (from === null ? 0 : (performance.now() - from) / 1000);
    return {
      seconds,
      start(onTick) {
        from = performance.now();
        clearInterval(ticking);
        ticking = setInterval(() => { face.textContent = `${round(seconds())} s`; onTick?.(seconds()); }, 100);
      },
      stop() {
        clearInterval(ticking);
        const taken = seconds();
        face.textContent = `${round(taken)} s`;
        return taken;
      },
      reset() { clearInterval(ticking); from = null; face.textContent = "0.0 s"; },
    };
  }
  const say = (form, words) => { form.querySelector("[data-said]").textContent = words; };
  const fill = (form, name, value) => { form.elements[name].value = value; };
  function pick(form, name, value) {
    const radio = [...form.querySelectorAll(`input[type="radio"][name="${name}"]`)].find((one) => one.value === value);
    if (radio) radio.checked = true;
  }

  // A large button that goes through stages; each stage says what the next touch means.
  function staged(form, stages, { ready = () => "" } = {}) {
    const big = form.querySelector("[data-big]");
    let at = 0;
    const show = () => {
      const wait = at === 0 ? ready() : "";
      big.disabled = Boolean(wait) || at >= stages.length;
      big.textContent = wait || (at < stages.length ? stages[at].label : "Done. Record below, or begin again.");
    };
    big.addEventListener("click", () => {
      const words = stages[at].deed();
      at += 1;
      show();
      say(form, words);
    });
    show();
    return { show, to(stage) { at = stage; show(); }, at: () => at, count: stages.length };
  }
  const onReset = (form, deed) => form.addEventListener("reset", () => setTimeout(deed));

  // What must be answered before a clock may start: the line that is ticked, and a reason where the test is held back.
  function waitsFor(form, gate) {
    if (!gate.checked) return "Tick the line above first";
    const although = document.querySelector(`[data-although][form="${form.id}"]`);
    return although && !although.value.trim() ? "Held back: give the reason above first" : "";
  }
  function gateOpens(form, show) {
    form.addEventListener("change", show);
    document.addEventListener("input", (event) => { if (event.target.matches?.(`[data-although][form="${form.id}"]`)) show(); });
    document.addEventListener("htmx:finally:request", () => setTimeout(show));
  }

  function positional() {
    const form = forms.positional;
    const clock = clockOf(form);
    let firstBeat = 0;
    const gate = form.querySelector("[data-gate]");
    const ready = () => waitsFor(form, gate);
    const stages = staged(form, [
      { label: "Head is down: start", deed: () => { clock.start(); return "Clock started."; } },
      { label: "First beat", deed: () => { firstBeat = clock.seconds(); fill(form, "latency_s", round(firstBeat)); return `First beat at ${round(firstBeat)} seconds.`; } },
      { label: "Beating stops", deed: () => { const ran = clock.stop() - firstBeat; fill(form, "duration_s", round(ran)); pick(form, "went_on", "no"); return `Lasted ${round(ran)} seconds.`; } },
    ], { ready });
    gateOpens(form, stages.show);
    onReset(form, () => { clock.reset(); stages.to(0); });
  }

  function counters(form, onCount) {
    for (const button of form.querySelectorAll("[data-count]")) {
      button.addEventListener("click", () => {
        const field = form.elements[button.dataset.count];
        field.value = Number(field.value || 0) + 1;
        button.querySelector("span").textContent = field.value;
        onCount?.(button.dataset.count, field.value);
      });
    }
    return {
      allow(allowed) { for (const button of form.querySelectorAll("[data-count], [data-cough], [data-both]")) button.disabled = !allowed; },
      clear() { for (const button of form.querySelectorAll("[data-count] span")) button.textContent = "0"; },
    };
  }

  function swallow() {
    const form = forms.swallow;
    const clock = clockOf(form);
    const gate = form.querySelector("[data-gate]");
    const count = counters(form);
    const end = () => { const taken = clock.stop(); fill(form, "seconds", round(taken)); count.allow(false); return taken; };
    // The glass waits for safe sips, of now or recorded before.
    const sips = () => form.querySelector('[name="sips"]:checked')?.value;
    const ready = () => {
      const wait = waitsFor(form, gate);
      if (wait) return wait;
      if (sips() && sips() !== "normal") return "Sips were not safe: no glass. Record, and nothing by mouth.";
      const held = document.querySelector("#held-swallow .stop")?.textContent ?? "";
      return !sips() && held.includes("small sips") ? "Small sips first" : "";
    };
    const stages = staged(form, [
      { label: "Water touches the lip: start", deed: () => { clock.start(); count.allow(true); fill(form, "swallows", 0); return "Clock started."; } },
      { label: "Last return of the larynx: stop", deed: () => { const taken = end(); pick(form, "stopped", "no"); return `${round(taken)} seconds. Watch for a minute for cough and wet voice.`; } },
    ], { ready });
    gateOpens(form, stages.show);
    form.querySelector("[data-cough]").addEventListener("click", () => {
      end();
      pick(form, "cough", "yes");
      pick(form, "stopped", "yes");
      stages.to(stages.count);
      say(form, "Stopped. Cough noted; change it below if it was something else. Give nothing more by mouth.");
    });
    onReset(form, () => { clock.reset(); count.allow(false); count.clear(); stages.to(0); });
  }

  function whisper() {
    const form = forms.whisper;
    const items = form.querySelector("[data-items]").dataset.items.split("|");
    let used = 0;
    function set(field) {
      const words = items[used++ % items.length];
      const place = form.querySelector(`[data-set="${field}"]`);
      place.replaceChildren(...words.split(" ").map((item) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "said-items";
        button.textContent = item;
        button.setAttribute("aria-pressed", "false");
        button.addEventListener("click", () => {
          button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
          fill(form, field, place.querySelectorAll('[aria-pressed="true"]').length);
        });
        return button;
      }));
    }
    const renew = () => { for (const field of ["first", "second"]) { set(field); fill(form, field, ""); } };
    form.querySelector("[data-new-items]").addEventListener("click", renew);
    onReset(form, renew);
    renew();
  }

  function rinne() {
    const form = forms.rinne;
    const clock = clockOf(form);
    const ear = () => form.elements.timed_ear.value;
    const notByAir = form.querySelector("[data-not-by-air]");
    const POSITIVE = "air louder than bone (positive)";
    const NEGATIVE = "bone louder than air (negative)";
    const stages = staged(form, [
      { label: "Fork on the bone: start", deed: () => { clock.start(); pick(form, "method", "fading"); return "Clock started."; } },
      { label: "No longer heard by bone: move to the ear", deed: () => { fill(form, `bone_${ear()}`, round(clock.stop())); clock.start(); notByAir.disabled = false; return "Now by air."; } },
      { label: "No longer heard by air", deed: () => { fill(form, `air_${ear()}`, round(clock.stop())); pick(form, ear(), POSITIVE); notByAir.disabled = true; return "Air outlasts bone: positive."; } },
    ], { ready: () => (ear() ? "" : "Choose the ear to time") });
    notByAir.addEventListener("click", () => {
      clock.stop();
      fill(form, `air_${ear()}`, "0");
      pick(form, ear(), NEGATIVE);
      notByAir.disabled = true;
      stages.to(stages.count);
      say(form, "Not heard by air after bone: negative.");
    });
    for (const radio of form.querySelectorAll('[name="timed_ear"]')) radio.addEventListener("change", () => { clock.reset(); notByAir.disabled = true; stages.to(0); });
    onReset(form, () => { clock.reset(); notByAir.disabled = true; stages.to(0); });
  }

  function blink() {
    const form = forms.blink;
    const clock = clockOf(form);
    const count = counters(form);
    const end = () => { const taken = clock.stop(); fill(form, "seconds", round(Math.min(taken, 60))); count.allow(false); return `Watched ${round(taken)} seconds.`; };
    const stages = staged(form, [
      {
        label: "Start one minute",
        deed: () => {
          for (const name of ["full_right", "full_left", "part_right", "part_left"]) fill(form, name, 0);
          count.clear();
          count.allow(true);
          clock.start((seconds) => { if (seconds >= 60) { say(form, end()); stages.to(stages.count); } });
          return "Clock started.";
        },
      },
      { label: "Stop early", deed: end },
    ]);
    form.querySelector("[data-both]").addEventListener("click", () => { for (const side of ["right", "left"]) form.querySelector(`[data-count="full_${side}"]`).click(); });
    onReset(form, () => { clock.reset(); count.allow(false); count.clear(); stages.to(0); });
  }

  function targets() {
    const form = forms.targets;
    const clock = clockOf(form);
    const call = form.querySelector("[data-call]");
    const byHand = form.querySelector("[data-by-hand]");
    const CALLS = { "far and near": ["Far", "Near"], "finger and pen": ["Finger", "Pen"], "up and down": ["Up", "Down"], "cover, far": ["Cover right", "Cover left"], "cover, near": ["Cover right", "Cover left"] };
    const checked = (name) => form.querySelector(`[name="${name}"]:checked`)?.value;
    let changes = 0;
    const show = () => {
      call.textContent = CALLS[checked("pair")][changes % 2];
      byHand.querySelector("span").textContent = changes;
      fill(form, "changes", changes || "");
      for (const box of form.querySelectorAll("[data-pair]")) {
        box.hidden = box.dataset.pair !== checked("pair");
        for (const field of box.querySelectorAll("input")) field.disabled = box.hidden;
      }
    };
    const change = (count) => {
      if (count === changes) return;
      changes = count;
      show();
      navigator.vibrate?.(40);
    };
    const stages = staged(form, [
      { label: "Start", deed: () => { changes = 0; show(); clock.start((seconds) => change(Math.floor(seconds / Number(checked("pace"))))); return "Started."; } },
      { label: "Stop", deed: () => { const taken = clock.stop(); fill(form, "seconds", round(taken)); return `${changes} changes in ${round(taken)} seconds.`; } },
    ]);
    byHand.addEventListener("click", () => change(changes + 1));
    for (const radio of form.querySelectorAll('[name="pair"]')) radio.addEventListener("change", () => { clock.reset(); changes = 0; stages.to(0); show(); });
    onReset(form, () => { clock.reset(); changes = 0; stages.to(0); show(); });
    show();
  }

  for (const make of [positional, swallow, whisper, rinne, blink, targets]) make();
})();
