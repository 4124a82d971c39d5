"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const get = id => document.getElementById(id);
  const all = (query, from = document) => Array.from(from.querySelectorAll(query));
  const count = data.t.length;
  if (!count) return;
  const svg = get("from-above"), box = svg.viewBox.baseVal, handle = get("handle"), table = get("table");
  const video = document.querySelector("#camera video");
  const last = count - 1, matchEnd = nearest(data.end), matchStart = nearest(0);
  let now = data.shown, heading = 1, playing = false;

  // ---- numbers -------------------------------------------------------------------------------------------------
  function nearest(t) {
    let low = 0, high = last;
    while (high - low > 1) { const mid = (low + high) >> 1; if (data.t[mid] <= t) low = mid; else high = mid; }
    return Math.abs(data.t[low] - t) <= Math.abs(data.t[high] - t) ? low : high;
  }
  // Value and 95 % half width, the half width to two digits and the value to match.
  function quantity(value, u, unit) {
    if (value === null || value === undefined) return "not known";
    const tail = unit ? " " + unit : "", wide = 1.96 * u;
    if (!(wide > 0)) return (value.toPrecision(3) + tail).replace("-", "−");
    let decimals = 1 - Math.floor(Math.log10(wide));
    if (Number(wide.toFixed(Math.max(0, Math.min(8, decimals)))) >= 10 ** (2 - decimals)) decimals -= 1;
    const places = Math.max(0, Math.min(8, decimals)), tens = 10 ** Math.max(0, -decimals);
    const round = v => (Math.round(v / tens * 10 ** places) / 10 ** places * tens).toFixed(places);
    return (round(value) + " ± " + round(wide) + tail).replace(/-/g, "−");
  }

  // ---- the table from above ------------------------------------------------------------------------------------
  const pairs = flat => { const points = []; for (let k = 0; k < flat.length; k += 2) points.push([flat[k], flat[k + 1]]); return points; };
  const path = points => points.length > 1 ? "M" + points.map(p => p[0].toFixed(0) + " " + (-p[1]).toFixed(0)).join("L") : "";
  function split(points) {
    const pieces = { minus: [], plus: [] }; let cuts = [];
    if (points.length < 2) return { pieces, cuts };
    let current = [points[0]];
    for (let k = 1; k < points.length; k++) {
      const [a, b] = [points[k - 1], points[k]];
      if ((a[0] < 0) !== (b[0] < 0)) {
        const cut = [0, a[1] + (b[1] - a[1]) * a[0] / (a[0] - b[0])];
        pieces[a[0] < 0 ? "minus" : "plus"].push(current.concat([cut]));
        cuts.push([k, cut]); current = [cut];
      }
      current.push(points[k]);
    }
    pieces[points[points.length - 1][0] < 0 ? "minus" : "plus"].push(current);
    return { pieces, cuts };
  }
  // From where the rope crosses the centre line along the rope by so many millimetres: the rope's middle.
  function along(points, cut, far) {
    const forward = points[points.length - 1][0] > points[0][0], to = (far > 0) === forward;
    const rest = to ? points.slice(cut[0]) : points.slice(0, cut[0]).reverse();
    const walked = [cut[1]]; let left = Math.abs(far), at = cut[1];
    for (const next of rest) {
      const leg = Math.hypot(next[0] - at[0], next[1] - at[1]);
      if (leg >= left) { const f = leg ? left / leg : 0; walked.push([at[0] + f * (next[0] - at[0]), at[1] + f * (next[1] - at[1])]); return walked; }
      left -= leg; at = next; walked.push(at);
    }
    return walked;
  }
  const percentX = x => 100 * (x - box.x) / box.width, percentY = y => 100 * (-y - box.y) / box.height;

  // How far a drawn machine reaches upwards from its middle, turned as it is [mm].
  const boxes = new Map();
  function reach(group, heading) {
    if (!boxes.has(group)) boxes.set(group, group.getBBox());
    const { width, height } = boxes.get(group), turned = heading * Math.PI / 180;
    return (width * Math.abs(Math.sin(turned)) + height * Math.abs(Math.cos(turned))) / 2;
  }

  function drawTable(k) {
    data.machines.forEach((machine, m) => {
      const group = svg.querySelector('[data-machine="' + m + '"]'), label = table.querySelector('[data-name="' + m + '"]');
      const known = machine.x[k] !== null && machine.y[k] !== null;
      group.style.visibility = label.style.visibility = known ? "visible" : "hidden";
      if (!known) return;
      group.setAttribute("transform", "translate(" + machine.x[k] + " " + -machine.y[k] + ") rotate(" + -(machine.h[k] || 0) + ")");
      label.style.left = Math.min(94, Math.max(6, percentX(machine.x[k]))) + "%";
      label.style.top = percentY(machine.y[k] + reach(group, machine.h[k] || 0) + 18) + "%";
    });
    const points = pairs(data.rope[k]), { pieces, cuts } = split(points);
    get("rope-minus").setAttribute("d", pieces.minus.map(path).join(""));
    get("rope-plus").setAttribute("d", pieces.plus.map(path).join(""));
    get("rope-edge").setAttribute("d", path(points)); get("grab").setAttribute("d", path(points));
    drawMargin(k, points, cuts);
    if (points.length > 1) {
      const xs = points.map(p => p[0]), ys = points.map(p => p[1]);
      Object.assign(handle.style, {
        left: percentX(Math.min(...xs)) + "%", width: 100 * (Math.max(...xs) - Math.min(...xs)) / box.width + "%",
        top: "calc(" + percentY(Math.max(...ys)) + "% - 12px)", height: "calc(" + 100 * (Math.max(...ys) - Math.min(...ys)) / box.height + "% + 24px)" });
    } else Object.assign(handle.style, { left: "3%", width: "94%", top: "6%", height: "88%" });
  }

  function drawMargin(k, points, cuts) {
    const text = get("margin-text"), margin = get("margin"), ends = get("margin-ends");
    // Without an opponent nobody leads: the rope's middle decides nothing.
    const middle = data.middle && get("share-plus") ? data.middle[k] : null;
    if (middle === null || points.length < 2) { text.textContent = ""; margin.setAttribute("d", ""); ends.setAttribute("d", ""); return; }
    const wide = 1.96 * data.uMiddle[k];
    const walked = cuts.length ? along(points, cuts[0], middle) : [[0, points[0][1]], [middle, points[0][1]]];
    const tip = walked[walked.length - 1];
    margin.setAttribute("d", path(walked));
    const bar = x => "M" + x.toFixed(1) + " " + (-tip[1] - 34).toFixed(1) + "v68";
    ends.setAttribute("d", bar(tip[0] - wide) + bar(tip[0] + wide));
    text.textContent = quantity(Math.abs(middle), data.uMiddle[k], "mm") + (Math.abs(middle) > wide ? " towards " + data.sides[middle < 0 ? 0 : 1] : "");
    text.style.left = Math.min(78, Math.max(22, percentX(tip[0]))) + "%";
    text.style.top = "calc(" + percentY(tip[1] - 34) + "% + 5px)";
  }

  // ---- charts, readout, picture --------------------------------------------------------------------------------
  const charts = Object.fromEntries(data.charts.map(c => [c.key, c]));
  function drawCharts(k) {
    for (const plot of all(".plot")) {
      const cursor = plot.querySelector(".cursor"), dots = all(".dot", plot);
      if (plot.dataset.kind === "trail") {
        const [top, bottom] = plot.dataset.limits.split(" ").map(Number), down = 100 * (data.t[k] - top) / (bottom - top);
        cursor.style.top = down + "%";
        const [x0, x1] = plot.dataset.across.split(" ").map(Number);
        place(dots[0], data.place[k] === null ? null : 100 * (data.place[k] / 1000 - x0) / (x1 - x0), down);
        continue;
      }
      const chart = charts[plot.dataset.chart], [x0, x1, y0, y1] = chart.scale;
      const x = plot.dataset.kind === "over-time" ? data.t[k] : data.place[k] === null ? null : data.place[k] / 1000;
      const across = x === null ? null : 100 * (x - x0) / (x1 - x0);
      cursor.hidden = across === null;
      if (across !== null) cursor.style.left = across + "%";
      dots.forEach((dot, c) => { const y = chart.curves[c].y[k]; place(dot, across, y === null ? null : 100 * (y1 - y) / (y1 - y0)); });
    }
  }
  function place(dot, left, top) {
    if (!dot) return;
    dot.hidden = left === null || top === null || top < 0 || top > 100;
    if (!dot.hidden) { dot.style.left = left + "%"; dot.style.top = top + "%"; }
  }
  function drawReadout(k) {
    // The clock stops between two pictures; what was ruled on is told at that moment, not at the nearest picture's.
    const t = k === data.shown && data.decided !== null ? data.decided : data.t[k], clock = t.toFixed(2).replace("-", "−") + " s";
    const moment = k === data.shown && data.decided !== null ? " the clock stops" : t < 0 ? " before the start" : k > matchEnd ? " after the end" : "";
    const small = document.createElement("small");
    small.textContent = moment;
    get("time").replaceChildren(clock, ...(moment ? [small] : []));
    if (data.share && get("share-plus")) {
      const share = data.share[k];
      get("bar-minus").style.width = share === null ? "50%" : 100 - share + "%";
      get("share-plus").textContent = share === null ? "not known" : data.sides[1] + "\n" + quantity(share, data.uShare[k], "%");
      get("share-minus").textContent = share === null ? "not known" : data.sides[0] + "\n" + quantity(100 - share, data.uShare[k], "%");
    }
    for (const cell of all(".now dd")) {
      const chart = charts[cell.dataset.chart], curve = chart.curves[Number(cell.dataset.curve)];
      cell.textContent = quantity(curve.y[k], curve.u[k], chart.unit);
    }
    handle.setAttribute("aria-valuemax", String(last)); handle.setAttribute("aria-valuenow", String(k));
    const side = data.share && data.share[k] !== null ? ", " + data.share[k].toFixed(1) + " % of the rope with " + data.sides[1] : "";
    handle.setAttribute("aria-valuetext", clock + side);
    let current = null;
    for (const button of all(".moments button")) { button.removeAttribute("aria-current"); if (Number(button.dataset.time) <= t + 0.02) current = button; }
    if (current) current.setAttribute("aria-current", "true");
  }
  let wanted = null;
  function seek(k) {
    if (!video || playing || !video.duration) return;
    wanted = data.clip[k] + 0.002;
    if (!video.seeking) { video.currentTime = wanted; wanted = null; }
  }
  if (video) {
    video.addEventListener("seeked", () => { if (wanted !== null) { video.currentTime = wanted; wanted = null; } });
    const camera = get("camera"), told = get("no-picture");
    video.addEventListener("loadedmetadata", () => { camera.classList.remove("missing"); seek(now); });
    for (const shown of ["loadeddata", "seeked"]) video.addEventListener(shown, () => camera.classList.remove("waiting"));
    const missing = () => {
      if (get("held-clip")) return;
      camera.classList.remove("waiting"); camera.classList.add("missing"); told.textContent = "No picture: the marked clip, marked.mp4, does not lie beside this page. Where it is still being made, load the page again once it is done."; };
    video.addEventListener("error", missing);
    if (video.error) missing();
    // A clip that the page itself holds is taken out of its text once the page is painted.
    const held = get("held-clip");
    if (held) requestAnimationFrame(() => setTimeout(() => {
      const bytes = Uint8Array.from(atob(held.textContent), letter => letter.charCodeAt(0));
      held.remove();
      video.src = URL.createObjectURL(new Blob([bytes], { type: "video/mp4" }));
    }));
  }

  function go(k, still) {
    k = Math.max(0, Math.min(last, k));
    if (k !== now) heading = k > now ? 1 : -1;
    now = k; drawTable(k); drawCharts(k); drawReadout(k);
    if (!still) seek(k);
  }

  // ---- pulling the rope ----------------------------------------------------------------------------------------
  // The run's path is cut into stretches in which the place goes one way (by more than 4 mm); pulling moves along the
  // stretch, and over its end into the next one in the direction in which time went last.
  const stretches = (() => {
    const known = [], found = [];
    data.place.forEach((x, k) => { if (x !== null) known.push(k); });
    if (!known.length) return [];
    let from = known[0], far = known[0], way = 0;
    for (const k of known) {
      const step = data.place[k] - data.place[far];
      if (way === 0) { if (Math.abs(data.place[k] - data.place[from]) > 4) { way = Math.sign(data.place[k] - data.place[from]); far = k; } }
      else if (step * way > 0) far = k;
      else if (step * way < -4) { found.push([from, far, way]); from = far; far = k; way = -way; }
    }
    found.push([from, known[known.length - 1], way || 1]);
    return found;
  })();
  function pulledTo(x) {
    let s = stretches.findIndex(([a, b]) => now >= a && now <= b);
    if (s < 0) return now;
    const [a, b, way] = stretches[s];
    const atEnd = heading > 0 && now >= b - 1 && s + 1 < stretches.length && (x - data.place[b]) * way < 0;
    const atStart = heading < 0 && now <= a + 1 && s > 0 && (x - data.place[a]) * way > 0;
    if (atEnd) s += 1; else if (atStart) s -= 1;
    const nearby = closest(x, stretches[s][0], stretches[s][1]);
    if (nearby[1] < 8) return nearby[0];
    // The hand has gone where this stretch never was: follow it to the nearest moment at which the rope was there.
    const anywhere = closest(x, 0, last);
    return anywhere[1] < nearby[1] - 4 ? anywhere[0] : nearby[0];
  }
  function closest(x, from, to) {
    let best = now, least = Infinity;
    for (let k = from; k <= to; k++) {
      if (data.place[k] === null) continue;
      const off = Math.abs(data.place[k] - x) + 0.004 * Math.abs(k - now);
      if (off < least) { least = off; best = k; }
    }
    return [best, Math.abs(data.place[best] - x)];
  }
  const millimetres = event => { const r = svg.getBoundingClientRect(); return box.x + (event.clientX - r.left) / r.width * box.width; };
  function drag(element, start, move) {
    element.addEventListener("pointerdown", event => {
      if (event.button !== 0 || event.target.closest("button")) return;
      stop(); element.setPointerCapture(event.pointerId); start(event);
      const on = e => move(e);
      const off = () => { element.removeEventListener("pointermove", on); table.classList.remove("grabbed"); };
      element.addEventListener("pointermove", on);
      element.addEventListener("pointerup", off, { once: true }); element.addEventListener("pointercancel", off, { once: true });
    });
  }
  let held = 0;
  drag(get("grab"), event => { table.classList.add("grabbed"); held = (data.place[now] || 0) - millimetres(event); handle.focus({ preventScroll: true }); },
    event => go(pulledTo(millimetres(event) + held)));
  for (const plot of all(".plot")) {
    const there = event => {
      const r = plot.getBoundingClientRect(), across = (event.clientX - r.left) / r.width, down = (event.clientY - r.top) / r.height;
      if (plot.dataset.kind === "trail") { const [top, bottom] = plot.dataset.limits.split(" ").map(Number); return go(nearest(top + down * (bottom - top))); }
      const scale = charts[plot.dataset.chart].scale, x = scale[0] + across * (scale[1] - scale[0]);
      return go(plot.dataset.kind === "over-time" ? nearest(x) : pulledTo(1000 * x));
    };
    drag(plot, there, there);
  }

  // ---- keys, events, running -----------------------------------------------------------------------------------
  document.addEventListener("keydown", event => {
    if (event.altKey || event.ctrlKey || event.metaKey || event.target.closest("pre, .scroll, summary")) return;
    const step = event.shiftKey ? 10 : 1;
    const moves = { ArrowRight: now + step, ArrowLeft: now - step, Home: matchStart, End: matchEnd };
    if (event.target === handle) Object.assign(moves, { ArrowUp: now + step, ArrowDown: now - step, PageUp: now + 30, PageDown: now - 30 });
    if (event.key in moves) { if (event.key === "Home" || event.key === "End") { if (event.target !== handle) return; } event.preventDefault(); stop(); go(moves[event.key]); }
    if (event.key === " " && event.target === handle) { event.preventDefault(); toggle(); }
  });
  for (const button of all("[data-time]")) button.addEventListener("click", () => { stop(); go(nearest(Number(button.dataset.time))); });
  const play = get("play");
  function stop() { if (!playing) return; playing = false; play.textContent = "run"; play.setAttribute("aria-pressed", "false"); if (video) video.pause(); }
  function toggle() {
    if (playing) { stop(); seek(now); return; }
    if (now >= matchEnd) go(matchStart);
    playing = true; play.textContent = "stop"; play.setAttribute("aria-pressed", "true");
    const began = performance.now(), from = data.t[now], clipFrom = data.clip[now], pace = (data.t[last] - data.t[0]) / (data.clip[last] - data.clip[0] || 1);
    if (video && video.duration) { video.currentTime = clipFrom; video.play().catch(() => {}); }
    const turn = () => {
      if (!playing) return;
      const gone = (performance.now() - began) / 1000;
      const t = video && video.duration && !video.paused ? from + (video.currentTime - clipFrom) * pace : from + gone;
      go(nearest(t), true);
      if (now >= matchEnd) { stop(); seek(now); return; }
      requestAnimationFrame(turn);
    };
    requestAnimationFrame(turn);
  }
  play.addEventListener("click", toggle);

  // ---- paper ---------------------------------------------------------------------------------------------------
  let opened = [];
  addEventListener("beforeprint", () => { opened = all("details:not([open])"); opened.forEach(d => { d.open = true; }); });
  addEventListener("afterprint", () => opened.forEach(d => { d.open = false; }));
  go(now);
})();
