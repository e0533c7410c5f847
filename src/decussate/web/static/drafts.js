// What is typed into a note or letter stays on this device until it is kept: a reload, a lock or a crash loses nothing.
"use strict";

(() => {
  const person = document.body.dataset.person ?? "";
  for (const field of document.querySelectorAll("[data-draft]")) {
    const key = `draft ${person} ${field.dataset.draft} ${field.name}`;
    const said = field.closest("form").querySelector(".draft-said");
    const shown = field.value;
    const draft = localStorage.getItem(key);
    if (draft !== null && draft !== shown) {
      field.value = draft;
      for (let box = field.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
      said.replaceChildren("Typed on this device and not yet kept. ");
      const discard = Object.assign(document.createElement("button"), { type: "button", textContent: "Discard it", className: "quiet" });
      discard.addEventListener("click", () => { localStorage.removeItem(key); field.value = shown; said.textContent = ""; });
      said.append(discard);
    } else localStorage.removeItem(key);
    field.addEventListener("input", () => {
      if (field.value === shown) localStorage.removeItem(key);
      else localStorage.setItem(key, field.value);
    });
    // Once the server has answered that it is saved, nothing of it remains here.
    document.addEventListener("htmx:after:request", (event) => {
      const { request, response } = event.detail.ctx;
      if (response?.status < 400 && request.submitter?.form === field.form) localStorage.removeItem(key);
    });
  }
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-fill]");
    if (!button) return;
    const field = document.getElementById(button.dataset.fill);
    field.value = document.getElementById(button.dataset.from).value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
  });
})();
