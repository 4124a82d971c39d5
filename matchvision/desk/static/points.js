// Step 2: points of the table, tried while they are dragged and kept when they are let go.

import { get, latest, post } from "./api.js";
import { attempt, draw, fill, find, make } from "./dom.js";

//: A press so near to a point that is set takes hold of it [screen pixels].
const NEAR = 14;
//: A hand at mouse or finger aims to about so many screen pixels (k = 1); a corner is seen no finer than half a pixel.
const AIM = 1.5;
const FINEST_PX = 0.5;

export class PointStep {
  constructor(desk) {
    this.desk = desk;
    this.chosen = null;
    this.held = false;
    this.inView = [];
    this.placed = new Map();
    this.take(desk.state.table);
    this.try = latest((keep) => this.#send(keep));
    desk.picture.on("press", (place) => this.active && this.#press(place));
    desk.picture.on("adjust", (place, times) => this.active && this.#move(place, times));
    desk.picture.on("settle", () => this.active && this.held && this.#settle());
    desk.picture.on("frame", () => this.draw());
    find("#own-point").addEventListener("submit", (event) => this.#addOwn(event));
    find("#u-click").addEventListener("change", () => this.#changeU());
    find("#tags-box").addEventListener("toggle", () => find("#tags-box").open && this.#showTags(), { once: true });
    if (desk.state.camera.moves) find("#camera-moves").hidden = false;
    this.list();
  }

  get active() {
    return !find("#step-table").hidden;
  }

  take(table) {
    const known = table.known.map((point) => ({ ...point, pixel: null, u_px: 1 }));
    for (const set of table.points) {
      const same = known.find((point) => point.name === set.name && Math.hypot(point.at_m[0] - set.at_m[0], point.at_m[1] - set.at_m[1]) < 1e-9);
      if (same) Object.assign(same, set);
      else known.push({ ...set });
    }
    this.points = known;
    this.chosen = this.points.find((point) => !point.pixel) || null;
  }

  get set() {
    return this.points.filter((point) => point.pixel);
  }

  #press(place) {
    const { scale } = this.desk.picture;
    const away = (point) => scale * Math.hypot(point.pixel[0] - place[0], point.pixel[1] - place[1]);
    const near = this.set.filter((point) => away(point) < NEAR).sort((a, b) => away(a) - away(b))[0];
    if (near) {
      this.chosen = near;
      this.desk.picture.aim(near.pixel);
    } else {
      if (!this.chosen || this.chosen.pixel) this.chosen = this.points.find((point) => !point.pixel) || null;
      if (!this.chosen) return;
      this.chosen.pixel = [...place];
      this.chosen.u_px = this.#aimed(1);
    }
    this.held = true;
    this.list();
    this.draw();
  }

  // How well a place can be aimed at where the picture is shown so many times larger [px of the clip].
  #aimed(times) {
    const stated = Number(find("#u-click").value);
    return stated || Math.max(FINEST_PX, Number((AIM / (times * this.desk.picture.scale)).toPrecision(2)));
  }

  #move(place, times) {
    if (!this.chosen?.pixel) return;
    this.held = true;
    this.chosen.pixel = [...place];
    this.chosen.u_px = this.#aimed(times);
    this.draw();
    this.try(false);
  }

  #settle() {
    this.held = false;
    this.list();
    this.try(true);
  }

  #changeU() {
    if (this.chosen?.pixel) {
      this.chosen.u_px = this.#aimed(1);
      this.try(true);
    }
  }

  async #send(keep) {
    const points = this.set.map(({ name, at_m, pixel, u_px }) => ({ name, at_m, pixel, u_px }));
    const camera = await attempt(() => post("points", { points, keep }));
    if (camera) this.desk.showCamera(camera);
    if (keep) await this.desk.refresh();
  }

  #addOwn(event) {
    event.preventDefault();
    const given = new FormData(event.target);
    const number = (key) => Number(String(given.get(key)).replace(",", ".").replace("−", "-"));
    const at_m = [number("x"), number("y")];
    if (!at_m.every(Number.isFinite)) return;
    this.points.push({ name: String(given.get("name")), at_m, pixel: null, u_px: 1 });
    this.chosen = this.points.at(-1);
    event.target.reset();
    this.list();
    this.draw();
    this.desk.picture.box.focus();
  }

  choose(point) {
    this.chosen = point;
    if (point.pixel) this.desk.picture.aim(point.pixel);
    this.list();
    this.draw();
  }

  remove(point) {
    point.pixel = null;
    this.chosen = point;
    this.list();
    this.draw();
    this.try(true);
  }

  list() {
    const focused = document.activeElement?.dataset?.point;
    const off = new Map((this.desk.camera?.points || []).map((point) => [point.name, point]));
    fill(
      find("#points"),
      this.points.map((point) => {
        const seen = off.get(point.name);
        const away = point.pixel && seen ? Math.hypot(...seen.off_px) : null;
        const far = away !== null && away > 3 * Math.SQRT2 * seen.expected_px;
        const words = !point.pixel ? "not set" : away === null ? "set" : `${away.toFixed(1)} px off`;
        return make(
          "li",
          { class: point === this.chosen ? "chosen" : "" },
          make("button", { type: "button", "data-point": point.name, "aria-pressed": String(point === this.chosen), onclick: () => this.choose(point) }, make("span", { text: point.name }), make("span", { class: far ? "far" : "soft", text: words, title: point.pixel ? `set to ± ${point.u_px} px (k = 1)` : null })),
          point.pixel ? make("button", { type: "button", class: "away", "aria-label": `take away ${point.name}`, text: "×", onclick: () => this.remove(point) }) : null,
        );
      }),
    );
    if (focused) [...document.querySelectorAll("#points [data-point]")].find((button) => button.dataset.point === focused)?.focus();
    find("#u-words").textContent = this.chosen?.pixel ? `${this.chosen.name} is set to ± ${this.chosen.u_px} px (k = 1).` : `On this screen ± ${this.#aimed(1)} px, on the patch ± ${this.#aimed((8 * this.desk.picture.patch.clientWidth) / this.desk.picture.patch.width / this.desk.picture.scale)} px (k = 1).`;
    find("#done-table").textContent = this.desk.camera?.found ? `known` : `${this.set.length} set`;
  }

  draw() {
    const { picture, plan, camera } = this.desk;
    plan.showPoints(this.points.map((point) => ({ ...point, set: Boolean(point.pixel), chosen: this.active && point === this.chosen })));
    const parts = [];
    if (camera?.found && camera.outline_px.every((place) => place.every((value) => value !== null))) {
      parts.push(draw("path", { class: "outline", d: `M${camera.outline_px.map((place) => place.map((v) => v.toFixed(1)).join(" ")).join("L")}Z` }));
    }
    if (this.active) {
      for (const expected of camera?.found ? camera.expected : []) {
        const point = this.points.find((one) => one.name === expected.name);
        if (point && !point.pixel) parts.push(picture.mark(expected.pixel, "expected"));
      }
      for (const point of this.set) parts.push(picture.mark(point.pixel, point === this.chosen ? "point chosen" : "point", point === this.chosen ? point.name : ""));
    }
    picture.layer("points", ...parts);
  }

  // A tag that is in view, but of which nobody has said where it lies.
  #placeTag(tag) {
    const field = (name, words) => make("label", {}, `${words} `, make("input", { name, inputmode: "decimal", size: 5, required: true }), " m");
    const form = make("form", { class: "row" }, field("side", "side"), field("x", "middle at x"), field("y", "y"), make("button", { text: "accept" }));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const given = new FormData(form);
      const number = (key) => Number(String(given.get(key)).replace(",", ".").replace("−", "-"));
      this.#useTags([...this.desk.state.table.tags, { family: tag.family, id: tag.id, side_m: number("side"), centre_m: [number("x"), number("y")] }]);
    });
    return form;
  }

  // Lets these tags count, and no others; as the sheet has them where they are just those.
  async #useTags(tags) {
    const own = this.desk.state.table.sheet_tags;
    const asWritten = tags.length === own.length && own.every((tag) => tags.some((one) => JSON.stringify(one) === JSON.stringify(tag)));
    const camera = await attempt(() => post("settags", { tags: asWritten ? null : tags }));
    if (camera) this.desk.showCamera(camera);
    await this.desk.refresh();
    this.#listTags();
  }

  async #showTags() {
    const answer = await attempt(() => get("tags"));
    if (!answer) return;
    this.inView = answer.tags;
    this.#listTags();
  }

  // Every tag in view or with a known place; the tick says which count. One that is left out keeps its place.
  #listTags() {
    const { tags, sheet_tags } = this.desk.state.table;
    const named = (tag) => `${tag.family} ${tag.id}`;
    for (const tag of [...sheet_tags, ...tags]) this.placed.set(named(tag), tag);
    const counts = new Set(tags.map(named));
    const seen = new Map(this.inView.map((tag) => [named(tag), tag]));
    const rows = [...new Set([...seen.keys(), ...this.placed.keys()])].sort(new Intl.Collator("en", { numeric: true }).compare).map((name) => {
      const tag = seen.get(name) ?? { ...this.placed.get(name), side_px: null };
      const words = tag.side_px === null ? "not in view" : `in view, ${tag.side_px.toFixed(0)} px a side`;
      const known = this.placed.has(name);
      const tick = known ? make("input", { type: "checkbox", "data-tag": name }) : null;
      const use = () => this.#useTags([...this.placed].filter(([other]) => (other === name ? !counts.has(name) : counts.has(other))).map(([, placed]) => placed));
      tick?.addEventListener("change", use);
      if (tick) tick.checked = counts.has(name);
      return make("li", {}, make("label", {}, tick, ` tag ${tag.id} (${tag.family}): ${words}${known && !counts.has(name) ? ", left out" : ""}`), known ? null : this.#placeTag(tag));
    });
    const held = document.activeElement?.dataset?.tag;
    find("#tags").replaceChildren(...(rows.length ? rows : [make("li", { class: "hint", text: "No printed tag is in view, and the sheet lists none." })]));
    if (held) [...document.querySelectorAll("#tags [data-tag]")].find((tick) => tick.dataset.tag === held)?.focus();
  }
}
