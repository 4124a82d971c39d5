// Step 4: which marker is which, as the analysis would name them in this picture.

import { post } from "./api.js";
import { attempt, fill, find, make } from "./dom.js";

export class NameStep {
  constructor(desk) {
    this.desk = desk;
    this.found = null;
    this.chosen = null;
    find("#look").addEventListener("click", () => this.#look());
    find("#declare-box").addEventListener("toggle", () => this.draw());
    find("#declare").addEventListener("change", () => this.#fill());
    find("#declare").addEventListener("submit", (event) => this.#declare(event));
    find("#turn-rope").addEventListener("click", async () => {
      const state = await attempt(() => post("turnrope", {}));
      if (state) this.desk.take(state);
      if (this.found) await this.#look();
    });
    desk.picture.on("press", (place) => this.active && this.#set(place));
    desk.picture.on("adjust", (place) => this.active && desk.mends.adjust(place));
    desk.picture.on("settle", () => this.active && desk.mends.settle());
    desk.picture.on("frame", (number) => this.found && number !== this.found.number && this.draw());
    this.list();
  }

  get active() {
    return !find("#step-names").hidden;
  }

  // Whoever comes here first wants to see what is found, if it can be.
  enter() {
    if (!this.found && this.desk.camera?.found && this.desk.state.colours.some((colour) => colour.srgb)) this.#look();
  }

  async #look() {
    this.found = await attempt(() => post("look", { number: this.desk.picture.number }));
    this.list();
    this.draw();
  }

  // What the picture says of a marker that the sheet does not name, filled into the form.
  async #propose(place) {
    const number = this.desk.picture.number;
    const told = await attempt(() => post("propose", { number, pixel: place }));
    if (!told) return;
    this.proposed = { ...told, number };
    const form = find("#declare");
    const { state } = this.desk;
    form.machine.replaceChildren(...state.machines.map((machine) => make("option", { value: machine.name, text: machine.name })));
    if (told.machine) form.machine.value = told.machine;
    find("#known-colours").replaceChildren(...state.colours.map((colour) => make("option", { value: colour.name })));
    form.colour.value = told.colour ?? "";
    find("#declare-swatch").style.background = told.srgb;
    find("#kind-bead").hidden = !told.bead;
    if (told.bead) find("#first-end").textContent = state.rope.ends[0];
    form.kind.value = told.bead?.likely ? "bead" : "disc";
    find("#declare-fields").disabled = false;
    find("#declare-words").textContent = "";
    this.#fill(true);
    this.draw();
    (form.colour.value ? form.name : form.colour).focus();
  }

  // The numbers that go with the kind and machine that are chosen.
  #fill(anew = false) {
    const form = find("#declare");
    const bead = form.kind.value === "bead";
    for (const row of form.querySelectorAll("[data-for]")) row.hidden = row.dataset.for !== form.kind.value;
    const which = `${form.kind.value} ${form.machine.value}`;
    if (!this.proposed || (which === this.filled && !anew)) return;
    this.filled = which;
    const disc = this.proposed.discs[form.machine.value];
    const mm = (metres) => (metres === null || metres === undefined ? "" : (1000 * metres).toFixed(0));
    form.name.value = bead ? this.proposed.bead.name : (disc?.name ?? "");
    form.along.value = bead ? mm(this.proposed.bead.along_m) : "";
    for (const [field, value] of [["height", disc?.height_m], ["radius", disc?.radius_m], ["x", disc?.at_m[0]], ["y", disc?.at_m[1]]]) form[field].value = mm(value);
  }

  async #declare(event) {
    event.preventDefault();
    if (!this.proposed) return;
    const form = event.target;
    const words = find("#declare-words");
    const metres = (field) => (form[field].value.trim() === "" ? NaN : Number(form[field].value.replace(",", ".").replace("−", "-")) / 1000);
    const { number, pixel } = this.proposed;
    const own = form.kind.value === "bead" ? { along_m: metres("along") } : { machine: form.machine.value, height_m: metres("height"), radius_m: metres("radius"), at_m: [metres("x"), metres("y")] };
    if (!Object.values(own).flat().every((value) => typeof value === "string" || Number.isFinite(value))) {
      words.textContent = form.kind.value === "bead" ? "How far along the rope does it sit?" : "Each of the four lengths is wanted.";
      return;
    }
    const state = await attempt(() => post("declare", { kind: form.kind.value, name: form.name.value, colour: form.colour.value, number, pixel, ...own }));
    if (!state) return;
    words.textContent = `${form.name.value} is added; click the next one.`;
    this.proposed = null;
    this.desk.take(state);
    await this.#look();
  }

  async #withdraw(name) {
    const state = await attempt(() => post("withdraw", { name }));
    if (state) this.desk.take(state);
    if (state && this.found) await this.#look();
  }

  #set(place) {
    if (find("#declare-box").open) {
      this.#propose(place);
      return;
    }
    if (!this.chosen) return;
    this.desk.mends.put({ do: "set", marker: this.chosen, frame: this.desk.picture.number, pixel: place, u_px: 1 });
  }

  list() {
    const { rope, markers } = this.desk.state;
    find("#turn-row").hidden = !rope;
    if (rope) find("#rope-words").textContent = `Now from ${rope.ends[0]} to ${rope.ends[1]}.`;
    const where = new Map((this.found?.found || []).map((marker) => [marker.name, marker.pixel]));
    fill(
      find("#names"),
      markers.map((marker) => {
        const words = !this.found ? marker.colour : where.has(marker.name) ? "found" : "not found";
        return make(
          "li",
          { class: marker.name === this.chosen ? "chosen" : "" },
          make("button", { type: "button", "data-marker": marker.name, "aria-pressed": String(marker.name === this.chosen), onclick: () => this.#choose(marker.name, where.get(marker.name)) }, make("span", { text: marker.name }), make("span", { class: words === "not found" ? "far" : "soft", text: words })),
          marker.declared ? make("button", { type: "button", class: "away", "aria-label": `take back ${marker.name}`, text: "×", onclick: () => this.#withdraw(marker.name) }) : null,
        );
      }),
    );
    find("#done-names").textContent = this.found ? `${where.size} of ${markers.length} found` : "";
  }

  #choose(name, pixel) {
    this.chosen = this.chosen === name ? null : name;
    if (pixel) this.desk.picture.aim(pixel);
    this.list();
    this.draw();
    document.querySelector(`#names [data-marker="${CSS.escape(name)}"]`)?.focus();
  }

  draw() {
    const { picture } = this.desk;
    const here = this.active && this.found?.number === picture.number;
    const kinds = new Map(this.desk.state.markers.map((marker) => [marker.name, marker.kind]));
    this.desk.plan.showMarkers(this.found ? this.found.found.map((marker) => ({ ...marker, kind: kinds.get(marker.name) })) : []);
    const declaring = find("#declare-box").open;
    const spots = here && declaring ? this.found.spots.map((spot) => picture.mark(spot, "expected")) : [];
    const proposed = this.active && declaring && this.proposed?.number === picture.number ? [picture.mark(this.proposed.pixel, "hand", "this one")] : [];
    picture.layer("names", ...spots, ...proposed, ...(here ? this.found.found.map((marker) => picture.mark(marker.pixel, marker.name === this.chosen ? "point chosen" : "point", marker.name === this.chosen || kinds.get(marker.name) !== "rim" ? shortly(marker.name) : "")) : []));
  }
}

// Names as they fit on a picture: a bead by its number, a machine's marker without the machine that it is on.
export const shortly = (name) => name.replace(/^bead_0*/, "").replace(/^[^.]*\./, "");
