// Keeps a view of the patient's screen in step with the server; the view goes on alone when it cannot be reached.
"use strict";

class PatientLink {
  #sending = false;
  #unsent = null;

  constructor(place, { patient = false, onState, onTrouble }) {
    Object.assign(this, { place, patient, onState, onTrouble, state: null, content: null, open: false });
    this.#run();
  }

  async #run() {
    for (;;) {
      try {
        this.content ??= await (await fetch("/screen-content")).json();
        await this.#ask();
        await this.#send();
        this.onTrouble("");
      } catch {
        this.onTrouble("The server cannot be reached. This view goes on alone.");
      }
      await new Promise((ready) => setTimeout(ready, document.hidden ? 2000 : 400));
    }
  }

  async #ask() {
    const { version = -1 } = this.state ?? {};
    const answer = await fetch(`${this.place}/state?patient=${this.patient}&since=${version}`);
    if (!answer.ok) throw new Error(answer.status);
    const open = answer.headers.get("patient-screen") === "open";
    const news = answer.status === 204 ? null : await answer.json();
    if (this.#sending || this.#unsent) return;
    if (news && this.state && news.version < this.state.version && this.state.version !== version) return; // overtaken by a change made here
    if (news || open !== this.open) {
      this.open = open;
      this.#take(news ?? this.state);
    }
  }

  #take(state) {
    this.state = state;
    this.onState(state);
  }

  // Shown here at once, then sent; what could not be sent is sent later.
  async change(fields) {
    if (!this.state) return;
    this.#take({ ...this.state, shown: { ...this.state.shown, ...fields } });
    this.#unsent = { ...this.#unsent, ...fields };
    try {
      await this.#send();
    } catch {
      // It waits, and goes with the next look.
    }
  }

  // One change at a time: two under way could reach the server in the other order, and the older would stand.
  async #send() {
    if (this.#sending) return;
    this.#sending = true;
    try {
      while (this.#unsent) {
        const fields = this.#unsent;
        this.#unsent = null;
        const answer = await this.post("state", fields).catch(() => null);
        if (!answer || answer.status === 401 || answer.status >= 500) {
          this.#unsent = { ...fields, ...this.#unsent };
          throw new Error("not taken over");
        }
        if (!answer.ok) { this.state.version = -1; continue; } // refused: take what the server has
        const news = await answer.json();
        if (!this.#unsent) this.#take(news);
      }
    } finally {
      this.#sending = false;
    }
  }

  post(where, fields) {
    const headers = { "Content-Type": "application/json" };
    return fetch(`${this.place}/${where}`, { method: "POST", body: JSON.stringify(fields), headers });
  }
}
