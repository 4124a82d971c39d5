// The camera's picture with its crosshair, the magnified patch, and what is drawn over them.
// Places are pixels of the clip: an integer is a pixel's centre.

import { draw, find } from "./dom.js";

const MAGNIFIED = 8;
//: A hand that has not pressed a key for so long rests [ms].
const RESTS_MS = 250;

export class Picture {
  constructor(clip) {
    this.clip = clip;
    this.number = clip.first;
    this.cursor = null;
    this.labels = [];
    this.listeners = { press: [], adjust: [], settle: [], frame: [], resize: [] };
    this.box = find("#picture");
    this.image = find("#frame");
    this.over = find("#over");
    this.patch = find("#patch");
    this.box.style.aspectRatio = `${clip.width_px} / ${clip.height_px}`;
    this.box.style.setProperty("--aspect", clip.width_px / clip.height_px);
    this.over.setAttribute("viewBox", `-0.5 -0.5 ${clip.width_px} ${clip.height_px}`);
    this.image.addEventListener("load", () => this.drawPatch());
    // Marks and crosshair keep their size on the screen.
    new ResizeObserver(() => {
      this.#drawCursor();
      this.#tell("resize");
    }).observe(this.box);
    this.#followPointer();
    this.#followKeys();
    this.#followBar();
    this.aim([clip.width_px / 2, clip.height_px / 2], { quiet: true });
  }

  on(what, listener) {
    this.listeners[what].push(listener);
  }

  #tell(what, ...given) {
    for (const listener of this.listeners[what]) listener(...given);
  }

  // Shows a picture of the clip by its number; resolves when it is there.
  show(number) {
    this.number = Math.max(this.clip.first, Math.min(this.clip.last, Math.round(number)));
    find("#number").value = this.number;
    const words = `${this.clip.clip_s[this.number].toFixed(2)} s`;
    find("#time").textContent = `${words} · no. ${this.number}`;
    find("#number").setAttribute("aria-valuetext", words);
    const shown = new Promise((done) => this.image.addEventListener("load", done, { once: true }));
    this.image.src = `api/picture/${this.number}`;
    this.#tell("frame", this.number);
    return shown;
  }

  get clip_s() {
    return this.clip.clip_s[this.number];
  }

  // Screen pixels that a pixel of the clip spans.
  get scale() {
    return (this.box.clientWidth || this.clip.width_px) / this.clip.width_px;
  }

  place(event) {
    const box = this.box.getBoundingClientRect();
    return [(event.clientX - box.left) / this.scale - 0.5, (event.clientY - box.top) / this.scale - 0.5];
  }

  aim(place, { quiet = false } = {}) {
    const inside = (value, size) => Math.max(-0.5, Math.min(size - 0.5, value));
    this.cursor = [inside(place[0], this.clip.width_px), inside(place[1], this.clip.height_px)];
    this.#drawCursor();
    this.drawPatch();
    if (!quiet) find("#status").textContent = `column ${this.cursor[0].toFixed(1)}, row ${this.cursor[1].toFixed(1)}`;
  }

  #drawCursor() {
    find("#cursor")?.remove();
    if (!this.cursor) return;
    const [col, row] = this.cursor;
    const arm = 14 / this.scale;
    const gap = 3 / this.scale;
    const lines = `M${col - arm} ${row}H${col - gap}M${col + gap} ${row}H${col + arm}M${col} ${row - arm}V${row - gap}M${col} ${row + gap}V${row + arm}`;
    this.over.append(draw("g", { id: "cursor" }, draw("path", { class: "halo", d: lines }), draw("path", { d: lines })));
  }

  drawPatch() {
    const ink = this.patch.getContext("2d");
    const size = this.patch.width;
    ink.fillStyle = "#000";
    ink.fillRect(0, 0, size, size);
    if (!this.cursor || !this.image.naturalWidth) return;
    const across = size / MAGNIFIED;
    ink.imageSmoothingEnabled = false;
    ink.drawImage(this.image, this.cursor[0] + 0.5 - across / 2, this.cursor[1] + 0.5 - across / 2, across, across, 0, 0, size, size);
    for (const [colour, width] of [["#000", 3], ["#fff", 1]]) {
      ink.strokeStyle = colour;
      ink.lineWidth = width;
      ink.beginPath();
      for (const side of [-1, 1]) {
        ink.moveTo(size / 2 + 5 * side, size / 2);
        ink.lineTo(size / 2 + 40 * side, size / 2);
        ink.moveTo(size / 2, size / 2 + 5 * side);
        ink.lineTo(size / 2, size / 2 + 40 * side);
      }
      ink.stroke();
    }
  }

  #followPointer() {
    let held = null;
    this.box.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      held = "picture";
      this.box.setPointerCapture(event.pointerId);
      this.aim(this.place(event));
      this.#tell("press", this.cursor, event);
    });
    this.box.addEventListener("pointermove", (event) => {
      if (held !== "picture") return;
      this.aim(this.place(event));
      this.#tell("adjust", this.cursor, 1);
    });
    let from = null;
    this.patch.addEventListener("pointerdown", (event) => {
      if (event.button !== 0 || !this.cursor) return;
      held = "patch";
      from = { at: [event.clientX, event.clientY], cursor: this.cursor };
      this.patch.setPointerCapture(event.pointerId);
    });
    this.patch.addEventListener("pointermove", (event) => {
      if (held !== "patch") return;
      const shown = (this.patch.clientWidth / this.patch.width) * MAGNIFIED;
      // The patch is pulled like paper under a fixed crosshair.
      this.aim([from.cursor[0] - (event.clientX - from.at[0]) / shown, from.cursor[1] - (event.clientY - from.at[1]) / shown]);
      this.#tell("adjust", this.cursor, shown / this.scale);
    });
    for (const element of [this.box, this.patch]) {
      for (const end of ["pointerup", "pointercancel"]) {
        element.addEventListener(end, () => {
          if (held) this.#tell("settle", this.cursor);
          held = null;
        });
      }
    }
  }

  #followKeys() {
    const ways = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const follow = (element, small, large) => {
      element.addEventListener("keydown", (event) => {
        const way = ways[event.key];
        if (way) {
          const step = event.ctrlKey ? 10 * large : event.shiftKey ? large : small;
          const from = this.cursor || [this.clip.width_px / 2, this.clip.height_px / 2];
          this.aim([from[0] + step * way[0], from[1] + step * way[1]]);
          if (element === this.patch) this.#tell("adjust", this.cursor, (this.patch.clientWidth / this.patch.width) * MAGNIFIED / this.scale);
          event.preventDefault();
        } else if (event.key === "Enter" && this.cursor) {
          if (element === this.box) this.#tell("press", this.cursor, event);
          this.#tell("settle", this.cursor);
          event.preventDefault();
        }
      });
    };
    follow(this.box, 1, 10);
    follow(this.patch, 0.1, 1);
    // A row of key presses is one movement: it is settled when the hand rests or goes on to something else.
    let resting = 0;
    const settle = () => {
      clearTimeout(resting);
      resting = 0;
      this.#tell("settle", this.cursor);
    };
    this.patch.addEventListener("keydown", () => clearTimeout(resting));
    this.patch.addEventListener("keyup", (event) => {
      if (!ways[event.key]) return;
      clearTimeout(resting);
      resting = setTimeout(settle, RESTS_MS);
    });
    this.patch.addEventListener("blur", () => resting && settle());
  }

  #followBar() {
    const slider = find("#number");
    slider.min = this.clip.first;
    slider.max = this.clip.last;
    slider.addEventListener("input", () => this.show(Number(slider.value)));
    find("#back").addEventListener("click", () => this.show(this.number - 1));
    find("#on").addEventListener("click", () => this.show(this.number + 1));
  }

  // Replaces what one step draws over the picture.
  layer(name, ...parts) {
    this.over.querySelector(`#layer-${name}`)?.remove();
    this.#label();
    if (parts.length) this.over.prepend(draw("g", { id: `layer-${name}` }, ...parts));
  }

  mark(place, kind, words = "") {
    const radius = 6 / this.scale;
    const node = draw("g", { class: kind }, draw("circle", { class: "halo", cx: place[0], cy: place[1], r: radius }), draw("circle", { cx: place[0], cy: place[1], r: radius }));
    const wanted = kind.includes("chosen") || kind.includes("hand");
    if (words) this.labels.push({ place, words, wanted, node });
    return node;
  }

  // Writes the names beside their marks: each where there is room for it, what was chosen first; else not at all.
  #label() {
    const size = 12 / this.scale;
    const taken = this.labels.map(({ place }) => [place[0] - size / 2, place[1] - size / 2, place[0] + size / 2, place[1] + size / 2]);
    for (const { place, words, wanted, node } of [...this.labels].sort((a, b) => b.wanted - a.wanted)) {
      const [wide, high] = [0.72 * size * words.length, 1.05 * size];
      const ways = [[0.75, -0.5], [-wide / size - 0.75, -0.5], [-wide / size / 2, -0.85], [-wide / size / 2, 1.6], [0.75, 1.3], [-wide / size - 0.75, 1.3]];
      const boxes = ways.map(([x, y]) => [place[0] + x * size, place[1] + y * size - high, place[0] + x * size + wide, place[1] + y * size]);
      const inside = (box) => box[0] > 0 && box[1] > 0 && box[2] < this.clip.width_px && box[3] < this.clip.height_px;
      const free = boxes.find((box) => inside(box) && taken.every((other) => box[2] < other[0] || box[0] > other[2] || box[3] < other[1] || box[1] > other[3]));
      const box = free ?? (wanted ? boxes[0] : null);
      if (!box) continue;
      taken.push(box);
      node.append(draw("text", { x: box[0], y: box[3] - 0.15 * size, "font-size": size, text: words }));
    }
    this.labels = [];
  }
}
