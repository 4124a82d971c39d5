// Step 4: which marker is which, as the analysis would name them in this picture.

import { post } from "./api.js";
import { attempt, find, make } from "./dom.js";

export class NameStep {
  constructor(desk) {
    this.desk = desk;
    this.found = null;
    this.chosen = null;
    find("#look").addEventListener("click", () => this.#look());
    // Whoever comes here first wants to see what is found, if it can be.
    find("#step-names").addEventListener("toggle", () => this.active && !this.found && desk.camera?.found && desk.state.colours.some((colour) => colour.srgb) && this.#look());
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
    return find("#step-names").open;
  }

  async #look() {
    this.found = await attempt(() => post("look", { number: this.desk.picture.number }));
    this.list();
    this.draw();
  }

  #set(place) {
    if (!this.chosen) return;
    this.desk.mends.put({ do: "set", marker: this.chosen, frame: this.desk.picture.number, pixel: place, u_px: 1 });
  }

  list() {
    const { rope, markers } = this.desk.state;
    find("#turn-row").hidden = !rope;
    if (rope) find("#rope-words").textContent = `Now from ${rope.ends[0]} to ${rope.ends[1]}.`;
    const where = new Map((this.found?.found || []).map((marker) => [marker.name, marker.pixel]));
    find("#names").replaceChildren(
      ...markers.map((marker) => {
        const words = !this.found ? marker.colour : where.has(marker.name) ? "found" : "not found";
        return make(
          "li",
          { class: marker.name === this.chosen ? "chosen" : "" },
          make("button", { type: "button", "data-marker": marker.name, "aria-pressed": String(marker.name === this.chosen), onclick: () => this.#choose(marker.name, where.get(marker.name)) }, make("span", { text: marker.name }), make("span", { class: words === "not found" ? "far" : "soft", text: words })),
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
    picture.layer("names", ...(here ? this.found.found.map((marker) => picture.mark(marker.pixel, marker.name === this.chosen ? "point chosen" : "point", marker.name === this.chosen || kinds.get(marker.name) !== "rim" ? shortly(marker.name) : "")) : []));
  }
}

// Names as they fit on a picture: a bead by its number, a machine's marker without the machine that it is on.
export const shortly = (name) => name.replace(/^bead_0*/, "").replace(/^[^.]*\./, "");
