// Step 3: what the markers' colours look like, learnt from clicks, and what then counts as one of them.

import { get, post } from "./api.js";
import { attempt, fill, find, make } from "./dom.js";

export class ColourStep {
  constructor(desk) {
    this.desk = desk;
    this.chosen = null;
    this.shown = null;
    desk.picture.on("press", (place) => this.active && this.#show(place));
    desk.picture.on("frame", () => this.#mask());
    find("#show-mask").addEventListener("change", () => this.#mask());
    find("#guess").addEventListener("click", () => this.#guess());
    this.list();
  }

  get active() {
    return !find("#step-colours").hidden;
  }

  // Whoever comes here first finds the colours guessed from their names, as far as that can be, to look at.
  enter() {
    if (!this.tried && this.desk.camera?.found && this.desk.state.colours.some((colour) => !colour.srgb)) this.#guess();
  }

  async #guess() {
    this.tried = true;
    const state = await attempt(() => post("guess", { number: this.desk.picture.number }));
    if (!state) return;
    this.chosen = state.colours.find((one) => !one.srgb)?.name ?? this.chosen;
    this.desk.take(state);
    find("#show-mask").checked = true;
    await this.#mask();
  }

  list() {
    const { colours } = this.desk.state;
    if (!colours.some((colour) => colour.name === this.chosen)) this.chosen = (colours.find((colour) => !colour.srgb) || colours[0])?.name ?? null;
    const focused = document.activeElement?.dataset?.colour;
    fill(
      find("#colours"),
      colours.map((colour) => {
        const swatches = [colour.srgb, ...colour.samples].filter(Boolean).map((srgb) => {
          const swatch = make("i", { class: "swatch" });
          swatch.style.background = srgb;
          return swatch;
        });
        const words = !colour.srgb ? "not known" : colour.guessed ? "guessed from its name" : colour.learnt ? `${1 + colour.samples.length} click${colour.samples.length ? "s" : ""}` : "from the sheet";
        return make(
          "li",
          { class: colour.name === this.chosen ? "chosen" : "" },
          make("button", { type: "button", "data-colour": colour.name, "aria-pressed": String(colour.name === this.chosen), onclick: () => this.#choose(colour.name) }, make("span", {}, ...swatches, colour.name), make("span", { class: colour.srgb ? "soft" : "far", text: words })),
          colour.learnt ? make("button", { type: "button", class: "away", "aria-label": `forget ${colour.name}`, text: "×", onclick: () => this.#forget(colour.name) }) : null,
        );
      }),
    );
    if (focused) document.querySelector(`#colours [data-colour="${CSS.escape(focused)}"]`)?.focus();
    const known = colours.filter((colour) => colour.srgb).length;
    find("#guess").hidden = known === colours.length;
    find("#done-colours").textContent = colours.length ? `${known} of ${colours.length} known` : "none in the sheet";
  }

  #choose(name) {
    this.chosen = name;
    this.list();
  }

  async #show(place) {
    const colour = this.desk.state.colours.find((one) => one.name === this.chosen);
    if (!colour) return;
    const state = await attempt(() => post("colour", { name: colour.name, number: this.desk.picture.number, pixel: place, more: colour.learnt && !colour.guessed }));
    if (!state) return;
    // The next colour that nobody has shown yet; one that is shown again stays chosen.
    if (!colour.srgb || colour.guessed) this.chosen = state.colours.find((one) => !one.srgb)?.name ?? this.chosen;
    this.desk.take(state);
    find("#show-mask").checked = true;
    await this.#mask();
  }

  async #forget(name) {
    const state = await attempt(() => post("forget", { name }));
    if (state) this.desk.take(state);
    await this.#mask();
  }

  async #mask() {
    const image = find("#mask");
    const wanted = this.active && find("#show-mask").checked;
    image.hidden = !wanted;
    if (!wanted) return;
    const asked = (this.asked = Symbol("mask"));
    const picture = await attempt(() => get(`mask/${this.desk.picture.number}`));
    if (!picture || asked !== this.asked) return;
    if (this.shown) URL.revokeObjectURL(this.shown);
    this.shown = URL.createObjectURL(picture);
    image.src = this.shown;
  }

  draw() {
    if (!this.active) find("#mask").hidden = true;
    else if (find("#show-mask").checked && find("#mask").hidden) this.#mask();
  }
}
