// The desk: one run, its clip, and the steps from pictures to a report.

import { get } from "./api.js";
import { attempt, find, make, sentence } from "./dom.js";
import { Picture } from "./picture.js";
import { Plan } from "./plan.js";
import { PointStep } from "./points.js";
import { StartStep } from "./start.js";

class Desk {
  constructor(state) {
    this.state = state;
    this.camera = null;
    find("#name").textContent = state.run.name;
    find("#about").textContent = `${state.run.kind} · ${state.run.clip} · ${state.clip.width_px} × ${state.clip.height_px} px`;
    document.title = `${state.run.name} – desk`;
    this.picture = new Picture(state.clip);
    this.plan = new Plan(state.table);
    this.steps = [new StartStep(this), new PointStep(this)];
    for (const box of document.querySelectorAll("#steps > details")) box.addEventListener("toggle", () => this.redraw());
  }

  // Takes the run anew from the desk: everything that a person does is kept there at once.
  async refresh() {
    this.state = (await attempt(() => get("state"))) || this.state;
    for (const step of this.steps) step.list?.();
    this.redraw();
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
  const at = state.clip.clip_s.findIndex((clip_s) => clip_s >= (state.clock.start_s ?? 0) - 1e-6);
  await desk.picture.show(at < 0 ? state.clip.first : at);
  const camera = await attempt(() => get("camera"));
  if (camera) desk.showCamera(camera);
  document.documentElement.dataset.ready = "yes";
}
