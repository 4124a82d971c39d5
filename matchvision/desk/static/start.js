// Step 1: the picture in which the match starts.

import { post } from "./api.js";
import { attempt, find, minus } from "./dom.js";

export class StartStep {
  constructor(desk) {
    this.desk = desk;
    find("#start-here").addEventListener("click", async () => {
      await attempt(() => post("start", { start_s: desk.picture.clip_s }));
      await desk.refresh();
      desk.open("table");
    });
    this.list();
  }

  list() {
    const { start_s, start, duration_s } = this.desk.state.clock;
    const told = start_s !== null ? `The match starts at ${minus(start_s.toFixed(2))} s of the clip and lasts ${duration_s} s.` : start ? `The sheet says: the start is found by ${start}.` : "Nobody has said yet when the match starts.";
    find("#start-words").textContent = told;
    find("#done-start").textContent = start_s !== null ? `${start_s.toFixed(2)} s` : start || "";
  }
}
