// Step 6: the analysis, its progress, and the way to the report.

import { get, post } from "./api.js";
import { attempt, fill, find, make, sentence } from "./dom.js";

const wait = (ms) => new Promise((done) => setTimeout(done, ms));

export class RunStep {
  constructor(desk) {
    this.desk = desk;
    find("#run").addEventListener("click", () => this.#run());
    this.list();
    get("running").then((answer) => answer.state !== "idle" && this.#watch(answer));
  }

  list() {
    const { wanting } = this.desk.state;
    fill(
      find("#wanting"),
      wanting.map((text) => make("li", { text })),
    );
    find("#done-run").textContent = wanting.length ? `${wanting.length} wanting` : "ready";
  }

  async #run() {
    this.desk.open("run");
    const answer = await attempt(() => post("run", {}));
    if (answer) await this.#watch(answer);
  }

  async #watch(first) {
    const bar = find("#run-progress");
    let answer = first;
    find("#run").disabled = true;
    while (answer) {
      const words = { working: `${answer.what} …`, done: `All is done; the results are in ${answer.out}.`, failed: `${answer.message}. ${answer.do ? `What to do: ${answer.do}.` : ""}` }[answer.state];
      if (find("#run-words").textContent !== words) find("#run-words").textContent = words;
      bar.classList.toggle("unused", answer.state !== "working");
      if (answer.total > 1) [bar.max, bar.value] = [answer.total, answer.done];
      else bar.removeAttribute("value");
      find("#verdict").textContent = answer.verdict && sentence(answer.verdict);
      find("#report-links").classList.toggle("unused", !answer.verdict);
      find("#ruling-link").hidden = this.desk.state.run.kind !== "match";
      if (answer.state !== "working") break;
      await wait(400);
      answer = await attempt(() => get("running"));
    }
    find("#run").disabled = false;
    find("#done-run").textContent = answer?.state === "done" ? "done" : answer?.state === "failed" ? "not done" : "";
  }
}
