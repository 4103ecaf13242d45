"use strict";
// Charts: drawn as SVG from the data in the page. Nothing is fetched.

const data = JSON.parse(document.getElementById("data").textContent);
const NS = "http://www.w3.org/2000/svg";

/** An SVG element; text goes in as text, never as markup. */
function make(tag, attributes, parent, text) {
  const e = document.createElementNS(NS, tag);
  for (const k in attributes) e.setAttribute(k, attributes[k]);
  if (text !== undefined) e.textContent = text;
  if (parent) parent.appendChild(e);
  return e;
}

function html(tag, attributes, parent, text) {
  const e = document.createElement(tag);
  for (const k in attributes) e.setAttribute(k, attributes[k]);
  if (text !== undefined) e.textContent = text;
  if (parent) parent.appendChild(e);
  return e;
}

/** A number with an SI prefix: four digits. */
function si(value, unit) {
  if (value === null || !isFinite(value)) return "none";
  if (unit === "1" || unit === "") return String(Number(value.toPrecision(5)));
  if (value === 0) return "0 " + unit;
  if (/^(cm|K|µm|°)/.test(unit)) {
    const size = Math.abs(value);
    if (size >= 1e-3 && size < 1e5) return Number(value.toPrecision(4)) + " " + unit;
    return value.toExponential(3) + " " + unit;
  }
  const size = Math.abs(value) * (1 + 5e-5);
  for (const [scale, p] of [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"],
    [1e-9, "n"], [1e-12, "p"], [1e-15, "f"]]) {
    if (size >= scale && size < 1e12) return (value / scale).toPrecision(4) + " " + p + unit;
  }
  return value.toExponential(3) + " " + unit;
}

const minus = (t) => t.replace("-", "−");

function power(e) {
  const digits = "⁰¹²³⁴⁵⁶⁷⁸⁹";
  return "10" + (e < 0 ? "⁻" : "") + [...String(Math.abs(e))].map((c) => digits[c]).join("");
}

/** Ticks of an axis from a to b; logarithmic axes are given by their exponents. */
function ticks(a, b, log, count) {
  const out = [];
  if (!(b > a)) return out;
  if (log && b - a > 1.2) {
    const every = Math.max(1, Math.ceil((b - a) / count));
    for (let e = Math.ceil(a - 1e-9); e <= b + 1e-9; e++) {
      out.push([e, ((e % every) + every) % every === 0 ? power(e) : ""]);
    }
    return out;
  }
  const [lo, hi] = log ? [10 ** a, 10 ** b] : [a, b];
  const rough = (hi - lo) / count;
  const size = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((f) => f * size).find((s) => s >= rough * 0.999);
  const decimals = Math.min(12, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
  for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + 1e-9 * step; k++) {
    const v = k * step;
    if (log && v <= 0) continue;
    const small = step < 1e-4 || step >= 1e6;
    const label = k === 0 ? "0" : small ? v.toExponential(1) : v.toFixed(decimals);
    out.push([log ? Math.log10(v) : v, minus(label)]);
  }
  return out;
}

/** Turns one <figure> into a chart: hover, arrow keys, zoom, switch of axes. */
function chart(figure, spec) {
  const plot = figure.querySelector(".plot");
  const output = figure.querySelector("output");
  const tools = figure.querySelector(".tools");
  const left = 78, right = 22, top = 26, bottom = 46;
  const log = { x: spec.x.log, y: spec.y.log };
  const hidden = new Set();
  let view = null, at = null, width = 0, height = 0, drag = null;
  const svg = make("svg", { role: "application", tabindex: "0", "aria-label": spec.about }, plot);

  // On a logarithmic axis magnitudes are shown.
  const turn = (v, axis) => (log[axis] ? Math.log10(Math.abs(v)) : v);
  const points = [];
  spec.series.forEach((s, k) => s.x.forEach((x, n) => points.push({ s: k, n, x, y: s.y[n] })));

  function whole() {
    // Axes do not stretch for guests, unless these are alone.
    const visible = spec.series.filter((_, k) => !hidden.has(k));
    const own = visible.filter((s) => !s.aside), shown = own.length ? own : visible;
    const range = (axis) => {
      const all = [];
      const take = (v) => {
        const t = v === null ? NaN : turn(v, axis);
        if (isFinite(t)) all.push(t);
      };
      shown.forEach((s) => s[axis].forEach(take));
      all.sort((a, b) => a - b);
      // The first points of a curve over a linear axis carry next to nothing: on a
      // logarithmic one they would take most of the room.
      const begins = axis === "y" && log.y && !log.x && all.length > 30;
      const from = begins ? Math.floor(all.length * 0.06) : 0;
      all.splice(0, from);
      spec.marks.forEach((m) => take(m[axis]));
      if (axis === "x" && spec.supply) { take(spec.supply.supply); take(spec.supply.limit); }
      if (!all.length) return [0, 1];
      const low = Math.min(...all), high = Math.max(...all);
      const pad = (high - low) * 0.04 || Math.abs(high) * 0.05 || 1;
      return [low - pad, high + pad];
    };
    return { x: range("x"), y: range("y") };
  }

  const px = (x) => left + (x - view.x[0]) / (view.x[1] - view.x[0]) * (width - left - right);
  const py = (y) => height - bottom - (y - view.y[0]) / (view.y[1] - view.y[0]) * (height - top - bottom);
  const place = (p) => [px(turn(p.x, "x")), py(turn(p.y, "y"))];

  function draw() {
    width = Math.max(300, plot.clientWidth);
    height = Math.round(Math.min(480, Math.max(280, width * 0.5)));
    view = view || whole();
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    svg.setAttribute("height", height);
    svg.textContent = "";
    make("title", {}, svg, spec.title);
    const clip = "clip-" + spec.id;
    const c = make("clipPath", { id: clip }, make("defs", {}, svg));
    make("rect", { x: left, y: top, width: width - left - right, height: height - top - bottom }, c);
    const inside = make("g", { "clip-path": `url(#${clip})` });
    grid();
    svg.appendChild(inside);
    if (spec.supply) supply(inside);
    spec.series.forEach((s, k) => { if (!hidden.has(k)) curve(s, inside); });
    if (spec.supply) {
      const x = px(Math.max(turn(spec.supply.supply, "x"), turn(spec.supply.limit, "x"))) + 6;
      make("text", { x, y: height - bottom - 8, class: "f-supply s-paper halo" }, inside, spec.supply.label);
    }
    const tags = spec.marks.map((m) => [m, ...place(m)]).filter((t) => isFinite(t[1] + t[2]));
    for (const [m, x, y] of tags) {
      make("circle", { cx: x, cy: y, r: 5, class: `f-${m.ink} s-paper`, "stroke-width": 1.5 }, inside);
      if (x < left || x > width - right || y < top || y > height - bottom) continue;
      // The label stands off the curve, at the end of a short line.
      const up = m.below ? y + 44 > height - bottom : y - 40 > top;
      const ly = up ? y - 30 : y + 36;
      make("line", { x1: x, y1: y + (up ? -6 : 6), x2: x, y2: ly + (up ? 3 : -11), class: "s-quiet" }, svg);
      const end = x > (left + width - right) / 2;
      make("text", {
        x: x + (end ? 6 : -6), y: ly, class: "f-text s-paper halo", "text-anchor": end ? "end" : "start",
      }, svg, m.label);
    }
    probe();
  }

  function grid() {
    const g = make("g", { class: "axis" }, svg);
    for (const [v, label] of ticks(view.x[0], view.x[1], log.x, width / 90)) {
      const x = px(v);
      make("line", { x1: x, x2: x, y1: top, y2: height - bottom, class: "s-rule" }, g);
      make("text", { x, y: height - bottom + 18, "text-anchor": "middle", class: "f-quiet" }, g, label);
    }
    for (const [v, label] of ticks(view.y[0], view.y[1], log.y, (height - top - bottom) / 36)) {
      const y = py(v);
      make("line", { x1: left, x2: width - right, y1: y, y2: y, class: "s-rule" }, g);
      make("text", { x: left - 8, y: y + 4, "text-anchor": "end", class: "f-quiet" }, g, label);
    }
    make("rect", {
      x: left, y: top, width: width - left - right, height: height - top - bottom,
      fill: "none", class: "s-quiet", "stroke-width": 0.8,
    }, g);
    const name = (a, axis) => (log[axis] && spec[axis].signed ? `|${a.label}|` : a.label)
      + (a.unit && a.unit !== "1" ? ", " + a.unit : "");
    make("text", { x: (left + width - right) / 2, y: height - 8, "text-anchor": "middle", class: "f-quiet" }, g, name(spec.x, "x"));
    const y = (top + height - bottom) / 2;
    make("text", { x: 16, y, "text-anchor": "middle", class: "f-quiet", transform: `rotate(-90 16 ${y})` }, g, name(spec.y, "y"));
  }

  function supply(g) {
    const a = px(turn(spec.supply.supply, "x")), b = px(turn(spec.supply.limit, "x"));
    make("rect", { x: Math.min(a, b), y: top, width: Math.abs(b - a), height: height - top - bottom, class: "f-margin" }, g);
    make("line", { x1: a, x2: a, y1: top, y2: height - bottom, class: "s-supply", "stroke-width": 1.5 }, g);
    make("line", { x1: b, x2: b, y1: top, y2: height - bottom, class: "s-supply", "stroke-width": 1, "stroke-dasharray": "3 3" }, g);
  }

  function curve(s, g) {
    let d = "", pen = false;
    s.x.forEach((x, n) => {
      const p = s.y[n] === null || x === null ? [NaN, NaN] : place({ x, y: s.y[n] });
      if (isFinite(p[0] + p[1])) {
        d += (pen ? "L" : "M") + p[0].toFixed(2) + " " + p[1].toFixed(2);
        pen = true;
      } else pen = false;
    });
    const style = { d, fill: "none", class: `curve s-${s.ink}`, "stroke-width": 2.2, "stroke-linejoin": "round" };
    if (s.dash) style["stroke-dasharray"] = s.dash.join(" ");
    make("path", style, g);
    if (s.dots) s.x.forEach((x, n) => {
      const p = place({ x, y: s.y[n] });
      if (isFinite(p[0] + p[1])) make("circle", { cx: p[0], cy: p[1], r: 2.6, class: `f-${s.ink}` }, g);
    });
  }

  /** Marks the point being read and says its values. */
  function probe() {
    svg.querySelectorAll(".probe").forEach((e) => e.remove());
    if (!at || hidden.has(at.s)) return;
    const s = spec.series[at.s], [x, y] = place(at);
    if (isFinite(x + y)) make("circle", { cx: x, cy: y, r: 7, fill: "none", class: "probe s-text", "stroke-width": 1.6 }, svg);
    const parts = [`${s.name}: ${spec.x.label} ${si(at.x, spec.x.unit)}, ${spec.y.label} ${si(at.y, spec.y.unit)}`];
    if (spec.width && spec.y.unit === "A/µm") parts.push(`${si(at.y * spec.width, "A")} at ${spec.width} µm`);
    for (const e of s.extra || []) {
      // Rounding of a terminal that carries nothing is no reading.
      if (e.values[at.n] !== undefined && Math.abs(e.values[at.n]) > 1e-18) parts.push(`${e.name} ${si(e.values[at.n], e.unit)}`);
    }
    output.textContent = parts.join(" · ");
  }

  function nearest(x, y) {
    let best = null, least = Infinity;
    for (const p of points) {
      if (hidden.has(p.s) || p.x === null || p.y === null) continue;
      const [a, b] = place(p);
      const d = (a - x) ** 2 + (b - y) ** 2;
      if (d < least) { least = d; best = p; }
    }
    return best;
  }

  const where = (e) => {
    const r = svg.getBoundingClientRect();
    return [(e.clientX - r.left) * width / r.width, (e.clientY - r.top) * height / r.height];
  };

  function zoom(factor, cx, cy) {
    const about = (range, c) => range.map((v) => c + (v - c) * factor);
    const mid = (r) => (r[0] + r[1]) / 2;
    view = { x: about(view.x, cx ?? mid(view.x)), y: about(view.y, cy ?? mid(view.y)) };
    draw();
  }

  svg.addEventListener("pointermove", (e) => {
    const [x, y] = where(e);
    if (drag) {
      drag.x1 = x; drag.y1 = y;
      svg.querySelectorAll(".box").forEach((b) => b.remove());
      make("rect", {
        x: Math.min(x, drag.x0), y: Math.min(y, drag.y0), width: Math.abs(x - drag.x0),
        height: Math.abs(y - drag.y0), class: "box s-text", fill: "none", "stroke-dasharray": "4 3",
      }, svg);
      return;
    }
    at = nearest(x, y);
    probe();
  });
  svg.addEventListener("pointerdown", (e) => {
    if (e.pointerType === "mouse" && e.button === 0) {
      const [x, y] = where(e);
      drag = { x0: x, y0: y, x1: x, y1: y };
      svg.setPointerCapture(e.pointerId);
    }
  });
  svg.addEventListener("pointerup", () => {
    const d = drag;
    drag = null;
    if (!d || Math.abs(d.x1 - d.x0) < 8 || Math.abs(d.y1 - d.y0) < 8) { draw(); return; }
    const vx = (p) => view.x[0] + (p - left) / (width - left - right) * (view.x[1] - view.x[0]);
    const vy = (p) => view.y[0] + (height - bottom - p) / (height - top - bottom) * (view.y[1] - view.y[0]);
    const sort = (a, b) => (a < b ? [a, b] : [b, a]);
    view = { x: sort(vx(d.x0), vx(d.x1)), y: sort(vy(d.y0), vy(d.y1)) };
    draw();
  });
  svg.addEventListener("dblclick", () => { view = null; draw(); });
  svg.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && !e.metaKey) return;
    e.preventDefault();
    const [x, y] = where(e);
    zoom(e.deltaY > 0 ? 1.25 : 0.8,
      view.x[0] + (x - left) / (width - left - right) * (view.x[1] - view.x[0]),
      view.y[0] + (height - bottom - y) / (height - top - bottom) * (view.y[1] - view.y[0]));
  }, { passive: false });
  svg.addEventListener("keydown", (e) => {
    const shown = points.filter((p) => !hidden.has(p.s));
    const k = at ? shown.indexOf(at) : -1;
    const go = { ArrowRight: k + 1, ArrowLeft: Math.max(0, k - 1), Home: 0, End: shown.length - 1 }[e.key];
    if (go !== undefined && shown.length) { at = shown[Math.min(go, shown.length - 1)]; probe(); }
    else if (e.key === "+") zoom(0.8);
    else if (e.key === "-") zoom(1.25);
    else if (e.key === "0") { view = null; draw(); }
    else return;
    e.preventDefault();
  });

  const button = (text, name, action) => {
    const b = html("button", { type: "button", title: name, "aria-label": name }, tools, text);
    b.addEventListener("click", () => action(b));
    return b;
  };
  const both = spec.x.both && spec.y.both;
  for (const axis of ["y", "x"]) {
    if (!spec[axis].both) continue;
    if (both) html("span", { class: "axis", "aria-hidden": "true" }, tools, axis === "y" ? "up" : "across");
    const pair = html("span", { class: "pair", role: "group", "aria-label": `${spec[axis].label} axis` }, tools);
    const set = [false, true].map((wanted) => {
      const b = html("button", { type: "button", "aria-pressed": String(log[axis] === wanted) }, pair, wanted ? "log" : "linear");
      b.addEventListener("click", () => {
        log[axis] = wanted; view = null;
        set.forEach((o, k) => o.setAttribute("aria-pressed", String(log[axis] === (k === 1))));
        draw();
      });
      return b;
    });
  }
  button("+", "Zoom in", () => zoom(0.7));
  button("−", "Zoom out", () => zoom(1.4));
  button("whole", "Show the whole curve", () => { view = null; draw(); });
  const legend = figure.querySelector(".legend");
  if (legend) {
    legend.querySelectorAll("button").forEach((b, k) => b.addEventListener("click", () => {
      if (!hidden.delete(k)) hidden.add(k);
      b.setAttribute("aria-pressed", String(!hidden.has(k)));
      view = null; draw();
    }));
  }
  new ResizeObserver(() => { if (plot.clientWidth !== width) draw(); }).observe(plot);
  draw();
  figure.dataset.drawn = "yes";
}

document.querySelectorAll("figure[data-chart]").forEach((f) => chart(f, data.charts[f.dataset.chart]));
