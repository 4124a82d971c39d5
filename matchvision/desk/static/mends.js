// Step 5: the tracking over two seconds, and what a person mends in it.

import { get, latest, post } from "./api.js";
import { attempt, draw, fill, find, make } from "./dom.js";
import { shortly } from "./names.js";

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

export class MendStep {
  constructor(desk) {
    this.desk = desk;
    this.preview = null;
    this.chosen = null;
    this.tool = null;
    this.held = null;
    this.keep = latest(() => this.#keep());
    desk.mends = this;
    this.mends = desk.state.mends;
    find("#follow").addEventListener("click", () => this.#follow(false));
    find("#follow-whole").addEventListener("click", () => this.#follow(true));
    find("#play").addEventListener("click", () => this.#play());
    find("#take-from").addEventListener("click", () => (find("#mend-from").value = desk.picture.number));
    find("#take-until").addEventListener("click", () => (find("#mend-until").value = desk.picture.number));
    find("#mend-strike").addEventListener("click", () => this.#add((marker, frame, until_frame) => [{ do: "strike", marker, frame, until_frame: until_frame ?? frame }]));
    find("#mend-cut").addEventListener("click", () => this.#add((marker, frame) => [{ do: "cut", marker, frame }]));
    find("#mend-tie").addEventListener("click", () => this.#add((marker, frame, until_frame) => [{ do: "tie", marker, followed_as: find("#mend-other").value, frame, until_frame }]));
    find("#mend-swap").addEventListener("click", () =>
      this.#add((marker, frame, until_frame) => {
        const other = find("#mend-other").value;
        return [
          { do: "tie", marker, followed_as: other, frame, until_frame },
          { do: "tie", marker: other, followed_as: marker, frame, until_frame },
        ];
      }),
    );
    find("#mend-set").addEventListener("click", () => this.#take({ do: "set" }));
    find("#to-start").addEventListener("click", () => desk.goTo(desk.state.clock.start_s ?? 0));
    find("#to-end").addEventListener("click", () => desk.goTo((desk.state.clock.start_s ?? 0) + desk.state.clock.duration_s / desk.state.clock.real_per_clip_ratio));
    desk.picture.on("press", (place) => this.active && this.#press(place));
    desk.picture.on("adjust", (place) => this.active && this.adjust(place));
    desk.picture.on("settle", () => this.active && this.settle());
    desk.picture.on("frame", () => {
      this.held = null;
      this.draw();
    });
    this.list();
  }

  get active() {
    return !find("#step-mends").hidden;
  }

  // Whoever comes here first wants to see the markers followed, if they can be.
  enter() {
    const { state, camera } = this.desk;
    if (!this.preview && !this.following && camera?.found && state.colours.length && state.colours.every((colour) => colour.srgb)) this.#follow(false);
  }

  get names() {
    return this.preview ? this.preview.tracks.map((track) => track.name) : this.desk.state.markers.map((marker) => marker.name);
  }

  async #follow(whole) {
    const buttons = [find("#follow"), find("#follow-whole")];
    this.following = true;
    const bar = find("#follow-progress");
    for (const button of buttons) button.disabled = true;
    bar.classList.remove("unused");
    try {
      let answer = await attempt(() => post("preview", { number: this.desk.picture.number, whole }));
      while (answer?.state === "working") {
        bar.max = answer.total || 1;
        bar.value = answer.done;
        await wait(150);
        answer = await attempt(() => get("previewed"));
      }
      if (answer?.state === "failed") await attempt(() => Promise.reject(Object.assign(new Error(answer.message), { todo: answer.do })));
      if (answer?.tracks) this.#show(answer.tracks);
    } finally {
      this.following = false;
      for (const button of buttons) button.disabled = false;
      bar.classList.add("unused");
    }
  }

  #show(tracks) {
    this.preview = tracks;
    find("#play").disabled = false;
    this.list();
    this.draw();
  }

  async #play() {
    const button = find("#play");
    const playing = button.getAttribute("aria-pressed") === "true";
    button.setAttribute("aria-pressed", String(!playing));
    button.textContent = playing ? "play" : "stop";
    if (playing || !this.preview) return;
    const frames = this.preview.frames;
    let at = frames.indexOf(this.desk.picture.number);
    if (at < 0 || at === frames.length - 1) at = 0;
    for (; at < frames.length && button.getAttribute("aria-pressed") === "true"; at += 1) {
      await this.desk.picture.show(frames[at]);
      await wait(40);
    }
    button.setAttribute("aria-pressed", "false");
    button.textContent = "play";
  }

  // Takes up a tool that sets points: the next press in the picture uses it.
  #take(tool) {
    const same = this.tool && this.tool.do === tool.do && this.tool.end === tool.end;
    this.tool = same ? null : tool;
    this.held = null;
    this.list();
    if (this.tool) this.desk.picture.box.focus({ preventScroll: true });
  }

  #press(place) {
    const frame = this.desk.picture.number;
    if (this.tool?.do === "end") this.put({ do: "end", end: this.tool.end, frame, pixel: place, u_px: 1, ...this.#height() });
    else if (this.tool?.do === "set" && this.chosen) this.put({ do: "set", marker: this.chosen, frame, pixel: place, u_px: 1 });
    else this.#pick(place);
  }

  // How high the hitch is, where somebody says it; left out, the sheet's hitch counts, else anything up to 0.1 m.
  #height() {
    const [value, u] = ["#end-height", "#end-u"].map((query) => Number(find(query).value.replace(",", ".")) / 1000);
    return value > 0 ? { height_m: { value, u: u > 0 ? u : 0.003 } } : {};
  }

  // A press without a tool chooses the nearest track.
  #pick(place) {
    const at = this.preview?.frames.indexOf(this.desk.picture.number) ?? -1;
    if (at < 0) return;
    const away = (track) => (track.col[at] === null ? Infinity : Math.hypot(track.col[at] - place[0], track.row[at] - place[1]));
    const near = [...this.preview.tracks].sort((a, b) => away(a) - away(b))[0];
    if (near && away(near) * this.desk.picture.scale < 16) {
      this.#chooseTrack(near.name);
    }
  }

  // A point that is set: it replaces the one in the same picture, and may still be pulled.
  put(mend) {
    const same = (one) => one.do === mend.do && one.frame === mend.frame && one.marker === mend.marker && one.end === mend.end;
    this.mends = [...this.mends.filter((one) => !same(one)), mend];
    this.held = mend;
    this.list();
    this.draw();
  }

  adjust(place) {
    if (!this.held) return;
    this.held.pixel = [...place];
    this.draw();
  }

  settle() {
    if (this.held) this.keep();
  }

  #add(build) {
    const frame = Number(find("#mend-from").value || this.desk.picture.number);
    const until = find("#mend-until").value === "" ? undefined : Number(find("#mend-until").value);
    if (!this.chosen || !Number.isInteger(frame) || (until !== undefined && !Number.isInteger(until))) return;
    this.mends = [...this.mends, ...build(this.chosen, frame, until)];
    this.keep();
  }

  async #keep() {
    const answer = await attempt(() => post("mends", { mend: this.mends }));
    if (answer?.tracks) this.preview = answer.tracks;
    await this.desk.refresh();
    if (!answer) this.mends = this.desk.state.mends;
    this.list();
    this.draw();
  }

  remove(mend) {
    this.mends = this.mends.filter((one) => one !== mend);
    this.held = null;
    this.keep();
  }

  #words(mend) {
    const pictures = mend.until_frame === undefined ? `from ${mend.frame} on` : mend.until_frame === mend.frame ? `in ${mend.frame}` : `in ${mend.frame} to ${mend.until_frame}`;
    return {
      cut: () => `${mend.marker} cut ${pictures}`,
      strike: () => `${mend.marker} struck ${pictures.replace("from", "in").replace(" on", "")}`,
      tie: () => `${mend.marker} is what was followed as ${mend.followed_as}, ${pictures}`,
      set: () => `${mend.marker} set in ${mend.frame}`,
      end: () => `rope's end at ${mend.end} set in ${mend.frame}`,
    }[mend.do]();
  }

  list() {
    const { rope } = this.desk.state;
    const focused = document.activeElement?.dataset?.track;
    const { colours } = this.desk.state;
    const before = [this.desk.camera?.found ? "" : "the table's points", colours.every((colour) => colour.srgb) ? "" : "the colours"].filter(Boolean).join(" and ");
    find("#no-tracks").hidden = Boolean(this.preview) || Boolean(this.following);
    find("#no-tracks").textContent = before ? `Set ${before} first; then markers can be followed.` : "Nothing has been followed yet.";
    fill(
      find("#tracks"),
      (this.preview?.tracks || []).map((track) =>
        make(
          "li",
          { class: track.name === this.chosen ? "chosen" : "" },
          make("button", { type: "button", "data-track": track.name, "aria-pressed": String(track.name === this.chosen), "aria-label": `${track.name}: ${this.#count(track)}`, onclick: () => this.#chooseTrack(track.name) }, make("span", { text: track.name }), this.#strip(track)),
        ),
      ),
    );
    if (focused) document.querySelector(`#tracks [data-track="${CSS.escape(focused)}"]`)?.focus();
    find("#mend-marker").textContent = this.chosen ?? "– choose a track above";
    find("#mend-tools").disabled = !this.chosen;
    const other = find("#mend-other");
    const kept = other.value;
    other.replaceChildren(...this.names.filter((name) => name !== this.chosen).map((name) => make("option", { value: name, text: name })));
    if ([...other.options].some((option) => option.value === kept)) other.value = kept;
    find("#mend-set").setAttribute("aria-pressed", String(this.tool?.do === "set"));
    find("#end-tools").hidden = !rope;
    if (rope && !find("#end-buttons").children.length) {
      find("#end-buttons").replaceChildren(...rope.ends.map((end) => make("button", { type: "button", "data-end": end, onclick: () => this.#take({ do: "end", end }) }, `end at ${end}`)));
    }
    for (const button of document.querySelectorAll("#end-buttons button")) button.setAttribute("aria-pressed", String(this.tool?.end === button.dataset.end));
    fill(
      find("#mends"),
      this.mends.map((mend) => make("li", {}, make("button", { type: "button", onclick: () => this.desk.picture.show(mend.frame) }, make("span", { text: this.#words(mend) })), make("button", { type: "button", class: "away", "aria-label": `take back: ${this.#words(mend)}`, text: "×", onclick: () => this.remove(mend) }))),
    );
    find("#done-mends").textContent = this.mends.length ? `${this.mends.length} by hand` : this.preview ? "followed" : "";
  }

  #chooseTrack(name) {
    this.chosen = name;
    find("#mend-from").value = this.desk.picture.number;
    this.list();
    const likely = this.#likely();
    if (likely) find("#mend-other").value = likely;
    this.draw();
  }

  // With which other one a track is likeliest mixed up: the nearest of its kind.
  #likely() {
    const kinds = new Map(this.desk.state.markers.map((marker) => [marker.name, marker.kind]));
    const own = this.preview?.tracks.find((track) => track.name === this.chosen);
    const at = Math.max(0, this.preview?.frames.indexOf(this.desk.picture.number) ?? 0);
    if (!own || own.col[at] === null) return null;
    const away = (track) => (track.col[at] === null ? Infinity : Math.hypot(track.col[at] - own.col[at], track.row[at] - own.row[at]));
    const alike = this.preview.tracks.filter((track) => track !== own && kinds.get(track.name) === kinds.get(own.name));
    return alike.sort((a, b) => away(a) - away(b))[0]?.name ?? null;
  }

  #count(track) {
    const counts = new Map();
    for (const state of track.state) counts.set(state, (counts.get(state) || 0) + 1);
    return [...counts].map(([state, count]) => `${count} ${state}`).join(", ");
  }

  // How a marker was followed, picture by picture.
  #strip(track) {
    const heights = { seen: 8, tied: 8, set: 12, bridged: 4, lost: 1 };
    const bars = [];
    for (let k = 0, from = 0; k < track.state.length; k += 1) {
      const state = track.state[k];
      if (track.state[k + 1] === state) continue;
      bars.push(draw("rect", { class: state, x: from, y: 12 - heights[state], width: k + 1 - from, height: heights[state] }));
      from = k + 1;
    }
    const at = this.preview.frames.indexOf(this.desk.picture.number);
    if (at >= 0) bars.push(draw("rect", { class: "now", x: at, y: 0, width: 1, height: 12 }));
    return draw("svg", { class: "strip", viewBox: `0 0 ${track.state.length} 12`, preserveAspectRatio: "none", "aria-hidden": "true" }, ...bars);
  }

  draw() {
    const { picture } = this.desk;
    const kinds = new Map(this.desk.state.markers.map((marker) => [marker.name, marker.kind]));
    const parts = [];
    const frame = picture.number;
    const at = this.preview?.frames.indexOf(frame) ?? -1;
    if (this.active && at >= 0) {
      for (const track of this.preview.tracks) {
        if (track.col[at] === null) continue;
        const trail = [];
        for (let k = Math.max(0, at - 12); k <= at; k += 1) if (track.col[k] !== null) trail.push(`${track.col[k]} ${track.row[k]}`);
        if (trail.length > 1) parts.push(draw("path", { class: "trail", d: `M${trail.join("L")}` }));
        const own = track.name === this.chosen;
        parts.push(picture.mark([track.col[at], track.row[at]], `track ${track.state[at]}${own ? " chosen" : ""}`, own || kinds.get(track.name) === "body" ? shortly(track.name) : ""));
      }
    }
    if (this.active || !find("#step-names").hidden) {
      for (const mend of this.mends) if (mend.pixel && mend.frame === frame) parts.push(picture.mark(mend.pixel, "hand", mend.end ? `end at ${mend.end}` : shortly(mend.marker)));
    }
    picture.layer("tracks", ...parts);
    for (const strip of document.querySelectorAll("#tracks .now")) strip.setAttribute("x", at);
  }
}
