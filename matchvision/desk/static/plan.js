// The table from above, to scale, with how well every place on it is known.

import { draw, find, millimetres, minus } from "./dom.js";

const MARGIN_M = 0.12;

export class Plan {
  constructor(table, machines) {
    this.table = table;
    this.svg = find("#plan");
    const mm = (metres) => 1000 * metres;
    const [length, width] = [mm(table.length_m), mm(table.width_m)];
    const margin = mm(MARGIN_M);
    this.svg.setAttribute("viewBox", `${-length / 2 - margin} ${-width / 2 - margin} ${length + 2 * margin} ${width + 2 * margin}`);
    const ticks = [];
    for (let x = -Math.floor(table.length_m / 0.4) * 0.2; x <= table.length_m / 2 + 1e-9; x += 0.2) {
      ticks.push(draw("path", { class: "scale", d: `M${mm(x)} ${width / 2}v-16` }));
      ticks.push(draw("text", { class: "tick", x: mm(x), y: width / 2 + 76, text: minus(Math.abs(x) < 1e-9 ? "0" : x.toFixed(1)) }));
    }
    this.places = draw("g", { class: "places" });
    this.dots = draw("g", {});
    this.things = draw("g", {});
    this.svg.replaceChildren(
      draw("rect", { class: "half minus", x: -length / 2, y: -width / 2, width: length / 2, height: width }),
      draw("rect", { class: "half plus", x: 0, y: -width / 2, width: length / 2, height: width }),
      this.places,
      ...ticks,
      ...table.tags.map((tag) =>
        draw("rect", { class: "tag", x: mm(-tag.side_m / 2), y: mm(-tag.side_m / 2), width: mm(tag.side_m), height: mm(tag.side_m), transform: `translate(${mm(tag.centre_m[0])} ${-mm(tag.centre_m[1])}) rotate(${-tag.angle_deg})` }),
      ),
      draw("rect", { class: "edge", x: -length / 2, y: -width / 2, width: length, height: width }),
      draw("path", { class: "centre", d: `M0 ${-width / 2}V${width / 2}` }),
      ...machines.map(({ name, home }) => draw("text", { class: `tick home ${home === "-x" ? "minus" : "plus"}`, x: ((home === "-x" ? -1 : 1) * length) / 4, y: width / 2 - 40, text: `home of ${name}` })),
      this.things,
      this.dots,
    );
  }

  // Markers where they were found, the rope's joined by a line; each in the colour of the half on which it lies.
  showMarkers(markers) {
    const side = (at) => (at[0] < 0 ? "minus" : "plus");
    const spot = (at) => [1000 * at[0], -1000 * at[1]];
    const rope = markers.filter((marker) => marker.kind === "bead" || marker.kind === "link").map((marker) => spot(marker.at_m));
    this.things.replaceChildren(
      ...(rope.length > 1 ? [draw("path", { class: "rope-line", d: `M${rope.map((at) => at.join(" ")).join("L")}` })] : []),
      ...markers.map((marker) => draw("circle", { class: `thing ${side(marker.at_m)}`, cx: spot(marker.at_m)[0], cy: spot(marker.at_m)[1], r: marker.kind === "body" ? 16 : 9 })),
    );
  }

  // The map of uncertainty: the darker, the less sure.
  showMap(map) {
    const scale = find("#scale");
    if (!map) {
      this.places.replaceChildren();
      scale.classList.add("unused");
      find("#plan-words").textContent = "The table from above, to scale; metres from the centre line. Points are named by the side on which they lie: −x left, +y up.";
      return;
    }
    const known = map.U95_m.flat().filter((value) => value !== null);
    const [low, high] = [Math.min(...known), Math.max(...known)];
    const middle = map.U95_m[Math.floor(map.y_m.length / 2)][Math.floor(map.x_m.length / 2)];
    const half = (values, k) => [(values[k] + (values[k - 1] ?? values[k])) / 2, (values[k] + (values[k + 1] ?? values[k])) / 2];
    const cells = [];
    map.y_m.forEach((_, r) => {
      const [bottom, top] = half(map.y_m, r);
      map.x_m.forEach((_, c) => {
        const value = map.U95_m[r][c];
        const [left, right] = half(map.x_m, c);
        const shade = value === null ? 1 : 0.08 + 0.72 * ((value - low) / (high - low || 1));
        cells.push(draw("rect", { class: value === null ? "unseen" : "place", x: 1000 * left, y: -1000 * top, width: 1000 * (right - left) + 1, height: 1000 * (top - bottom) + 1, "fill-opacity": shade.toFixed(3) }));
      });
    });
    this.places.replaceChildren(...cells);
    scale.classList.remove("unused");
    scale.querySelector(".low").textContent = `± ${millimetres(low)}`;
    scale.querySelector(".high").textContent = `± ${millimetres(high)}`;
    find("#plan-words").textContent = `A place on the table will be known to ± ${millimetres(middle)} in the middle, ± ${millimetres(high)} at worst (95 %).`.replaceAll("± ", "±\u00a0").replaceAll(" mm", "\u00a0mm");
    this.svg.setAttribute("aria-label", `The table from above. ${find("#plan-words").textContent}`);
  }

  // Points as dots; `points` hold name, at_m, set and chosen.
  showPoints(points) {
    this.dots.replaceChildren(
      ...points.map((point) =>
        draw("circle", { class: `dot${point.set ? " set" : ""}${point.chosen ? " chosen" : ""}`, cx: 1000 * point.at_m[0], cy: -1000 * point.at_m[1], r: point.chosen ? 34 : 22 }),
      ),
    );
  }
}
