// The desk: one run, its clip, and the steps from pictures to a report.

import { get } from "./api.js";
import { attempt, find, make, sentence } from "./dom.js";
import { ColourStep } from "./colours.js";
import { MendStep } from "./mends.js";
import { NameStep } from "./names.js";
import { Picture } from "./picture.js";
import { Plan } from "./plan.js";
import { PointStep } from "./points.js";
import { RunStep } from "./run.js";
import { StartStep } from "./start.js";

class Desk {
  constructor(state) {
    this.state = state;
    this.camera = null;
    find("#name").textContent = state.run.name;
    find("#about").textContent = `${state.run.kind} · ${state.run.clip} · ${state.clip.width_px} × ${state.clip.height_px} px`;
    document.title = `${state.run.name} – desk`;
    this.picture = new Picture(state.clip);
    this.plan = new Plan(state.table, state.machines);
    this.steps = [new StartStep(this), new PointStep(this), new ColourStep(this), new MendStep(this), new NameStep(this), new RunStep(this)];
    for (const head of document.querySelectorAll("#stepper button")) head.addEventListener("click", () => this.open(head.dataset.step));
    this.picture.on("resize", () => this.redraw());
    this.open(state.clock.start_s === null && !state.clock.start ? "start" : "table");
  }

  // Shows one step; its head stays where it is whatever the step then has to say.
  open(name) {
    for (const head of document.querySelectorAll("#stepper button")) {
      const here = head.dataset.step === name;
      if (here) head.setAttribute("aria-current", "step");
      else head.removeAttribute("aria-current");
      find(`#step-${head.dataset.step}`).hidden = !here;
    }
    for (const step of this.steps) if (step.active) step.enter?.();
    this.redraw();
  }

  // Takes the run anew from the desk: everything that a person does is kept there at once.
  async refresh() {
    this.take((await attempt(() => get("state"))) || this.state);
  }

  // An answer that a newer one has overtaken is old.
  take(state) {
    if (state.version < this.state.version) return;
    this.state = state;
    for (const step of this.steps) step.list?.();
    this.redraw();
  }

  // Shows the picture nearest to a clip time.
  goTo(clip_s) {
    const times = this.state.clip.clip_s;
    let best = this.state.clip.first;
    for (let k = best; k <= this.state.clip.last; k += 1) if (Math.abs(times[k] - clip_s) < Math.abs(times[best] - clip_s)) best = k;
    return this.picture.show(best);
  }

  redraw() {
    for (const step of this.steps) step.draw?.();
  }

  showCamera(camera) {
    this.camera = camera;
    this.plan.showMap(camera.found ? camera.map : null);
    find("#camera-words").textContent = camera.found ? `Camera from ${camera.source}: they fit to ${camera.rms_px.toFixed(2)} px (rms).` : sentence(camera.what);
    find("#camera-warnings").replaceChildren(...(camera.warnings || []).map((text) => make("li", { text })));
    for (const step of this.steps) step.list?.();
    this.redraw();
  }
}

const state = await attempt(() => get("state"));
if (state) {
  const desk = new Desk(state);
  await desk.goTo(state.clock.start_s ?? 0);
  const camera = await attempt(() => get("camera"));
  if (camera) desk.showCamera(camera);
  document.documentElement.dataset.ready = "yes";
}
