// Numbers and usual reasons by touch: keys on the page, in place of the keyboard of the device that would cover it.
"use strict";

const pad = document.getElementById("keypad");
if (pad) {
  let field = null;
  let before = "";

  const close = () => {
    const left = field;
    field = null;
    if (pad.matches(":popover-open")) pad.hidePopover();
    // A value set by a script is no change to the browser: say it, or the story would not be sent.
    if (left && left.value !== before) left.dispatchEvent(new Event("change", { bubbles: true }));
  };
  const open = (input) => {
    field = input;
    before = input.value;
    pad.dataset.pad = input.dataset.pad;
    pad.showPopover();
    input.select();
    input.scrollIntoView({ block: "center" });
  };
  const record = () => {
    field.closest(".measure")?.querySelector("button")?.click();
    close();
  };

  document.addEventListener("pointerdown", (event) => {
    const input = event.target.closest?.("input[data-pad]");
    if (input && event.pointerType === "touch" && input !== field) input.inputMode = "none";
  });
  document.addEventListener("click", (event) => {
    if (event.target.inputMode === "none" && event.target !== field) open(event.target);
  });
  document.addEventListener("focusout", (event) => { if (event.target === field && !pad.contains(event.relatedTarget)) close(); });
  pad.addEventListener("mousedown", (event) => event.preventDefault()); // the focus stays in the field
  pad.addEventListener("click", (event) => {
    const key = event.target.closest("button");
    if (!key || !field) return;
    if (key.matches(".done")) record();
    else if (key.matches(".letters")) {
      const input = field;
      input.blur();
      input.inputMode = "text";
      input.focus();
    } else if (key.dataset.words) {
      field.value = key.dataset.words;
      record();
    } else {
      const { selectionStart: start, selectionEnd: end } = field;
      const deletes = key.dataset.digit === "⌫";
      field.setRangeText(deletes ? "" : key.dataset.digit, deletes && start === end ? Math.max(start - 1, 0) : start, end, "end");
    }
  });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape" && field) close(); });
}
