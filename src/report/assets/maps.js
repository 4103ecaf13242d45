// Maps of fields on the true mesh: every pixel is interpolated between the four mesh
// points around it.

function numbers(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let k = 0; k < raw.length; k++) bytes[k] = raw.charCodeAt(k);
  return bytes;
}

const NONE = 65535;
const ramps = {};
for (const k in data.ramps) {
  const b = numbers(data.ramps[k]);
  ramps[k] = Uint32Array.from({ length: 256 }, (_, n) => 0xff000000 | b[3 * n + 2] << 16 | b[3 * n + 1] << 8 | b[3 * n]);
}
const css = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

function maps(figure, set) {
  // Every result has a mesh of its own.
  const grounds = set.meshes.map((m) => ({ ...m, material: numbers(m.material), x0: m.x[0], x1: m.x.at(-1), y0: 0, y1: m.y.at(-1) }));
  const groundOf = (p) => grounds[set.points[p].mesh];
  const several = grounds.length > 1;
  const cells = set.points.map(() => ({}));
  // Doping is kept once, with the first point of its mesh.
  const holder = (p, key) => (set.points[p].maps[key] ? p
    : set.points.findIndex((o) => o.mesh === set.points[p].mesh && o.maps[key]));
  const mapOf = (p, key) => set.points[holder(p, key)]?.maps[key];
  const values = (p, key) => {
    if (!cells[p][key]) cells[p][key] = new Uint16Array(numbers(mapOf(p, key).data).buffer);
    return cells[p][key];
  };
  const whole = ({ x0, x1, y0, y1 }) => ({ x0, x1, y0, y1 });
  const shapeOf = (g) => Math.min(0.62, Math.max(0.14, g.y1 / (g.x1 - g.x0)));
  const known = (p) => set.quantities.filter((q) => mapOf(p, q.key));
  let point = set.start, ground = groundOf(point), view = whole(ground);
  let key = (known(point).find((q) => q.key !== "net-doping") || known(point)[0]).key;
  const show = { flow: true, junction: true, mesh: false };
  let probe = null;

  const of = (p) => (several ? ", " + set.points[p].of : "");
  const quantity = (k) => set.quantities.find((q) => q.key === k);
  /** The value that a share of a map's scale stands for. */
  function value(m, q, t) {
    const u = m.low + (m.high - m.low) * t;
    return q.scale === "log" ? 10 ** u : q.scale === "signed" ? m.knee * Math.sinh(u) : u;
  }
  function share(p, k, px, py) {
    const { x, y, material } = groundOf(p), nx = x.length;
    const i = cellOf(x, px), j = cellOf(y, py);
    const v = values(p, k), o = j * nx + i;
    const four = [v[o], v[o + 1], v[o + nx], v[o + nx + 1]];
    const mat = material[j * (nx - 1) + i];
    if (four.includes(NONE) || mat === 0 || (mat === 2 && quantity(k).silicon)) return null;
    const fx = (px - x[i]) / (x[i + 1] - x[i]), fy = (py - y[j]) / (y[j + 1] - y[j]);
    return ((four[0] * (1 - fx) + four[1] * fx) * (1 - fy) + (four[2] * (1 - fx) + four[3] * fx) * fy) / 65534;
  }
  function cellOf(list, v) {
    let a = 0, b = list.length - 1;
    while (b - a > 1) { const m = (a + b) >> 1; if (list[m] <= v) a = m; else b = m; }
    return a;
  }

  /** Fills a rectangle of a canvas with a part of the cut. */
  function paint(context, p, k, part, at) {
    const { w, h } = at;
    const image = context.createImageData(w, h), out = new Uint32Array(image.data.buffer);
    const v = values(p, k), q = quantity(k), ramp = ramps[q.ramp];
    const { x, y, material } = groundOf(p), nx = x.length;
    const oxide = colour(css("oxide"));
    const columns = Array.from({ length: w }, (_, c) => locate(x, part.x0 + (c + 0.5) / w * (part.x1 - part.x0)));
    for (let r = 0; r < h; r++) {
      const [j, fy] = locate(y, part.y0 + (r + 0.5) / h * (part.y1 - part.y0));
      for (let c = 0; c < w; c++) {
        const [i, fx] = columns[c], mat = material[j * (nx - 1) + i];
        if (mat === 0) continue;
        if (mat === 2 && q.silicon) { out[r * w + c] = oxide; continue; }
        const o = j * nx + i, a = v[o], b = v[o + 1], d = v[o + nx], e = v[o + nx + 1];
        if (a === NONE || b === NONE || d === NONE || e === NONE) continue;
        const t = (a * (1 - fx) + b * fx) * (1 - fy) + (d * (1 - fx) + e * fx) * fy;
        out[r * w + c] = ramp[(t / 65534 * 255 + 0.5) | 0];
      }
    }
    context.putImageData(image, at.x, at.y);
  }
  function locate(list, v) {
    const k = cellOf(list, v);
    return [k, Math.min(1, Math.max(0, (v - list[k]) / (list[k + 1] - list[k])))];
  }
  function colour(hex) {
    const n = parseInt(hex.slice(1), 16);
    return (0xff000000 | (n & 255) << 16 | (n >> 8 & 255) << 8 | n >> 16) >>> 0;
  }

  const big = figure.querySelector("canvas.map");
  const output = figure.querySelector("output");
  const left = 54, right = 12, top = 24, bottom = 40;

  function draw() {
    const dpr = window.devicePixelRatio || 1;
    const width = Math.max(300, big.parentElement.clientWidth);
    const height = Math.round((width - left - right) * shapeOf(ground)) + top + bottom;
    big.width = Math.round(width * dpr);
    big.height = Math.round(height * dpr);
    big.style.height = height + "px";
    const c = big.getContext("2d");
    const box = { x: Math.round(left * dpr), y: Math.round(top * dpr),
      w: Math.round((width - left - right) * dpr), h: Math.round((height - top - bottom) * dpr) };
    paint(c, point, key, view, box);
    c.setTransform(dpr, 0, 0, dpr, 0, 0);
    const a = { x: left, y: top, w: box.w / dpr, h: box.h / dpr };
    const X = (v) => a.x + (v - view.x0) / (view.x1 - view.x0) * a.w;
    const Y = (v) => a.y + (v - view.y0) / (view.y1 - view.y0) * a.h;
    c.save();
    c.beginPath(); c.rect(a.x, a.y, a.w, a.h); c.clip();
    if (show.mesh) lines(c, X, Y, a);
    const along = (list, ink, w, dash, rim) => {
      c.beginPath();
      for (const line of list) {
        for (let k = 0; k < line.length; k += 2) c[k ? "lineTo" : "moveTo"](X(line[k]), Y(line[k + 1]));
      }
      c.setLineDash([]);
      if (rim) { c.strokeStyle = rim; c.lineWidth = w + 1.4; c.stroke(); }
      c.setLineDash(dash); c.strokeStyle = ink; c.lineWidth = w; c.stroke();
      c.setLineDash([]);
    };
    if (show.junction) along(ground.junctions, "#ffffff", 0.9, [4, 3], "rgba(0,0,0,.55)");
    if (show.flow) along(set.points[point].flow, "rgba(255,255,255,.95)", 0.9, [], "rgba(0,0,0,.45)");
    c.restore();
    frame(c, X, Y, a);
    if (probe) {
      c.strokeStyle = css("text"); c.lineWidth = 1;
      c.beginPath(); c.arc(X(probe[0]), Y(probe[1]), 5, 0, 7); c.stroke();
    }
    scale();
  }

  function lines(c, X, Y, a) {
    c.strokeStyle = "rgba(20,24,28,.45)"; c.lineWidth = 0.4;
    c.beginPath();
    for (const v of ground.x) { c.moveTo(X(v), a.y); c.lineTo(X(v), a.y + a.h); }
    for (const v of ground.y) { c.moveTo(a.x, Y(v)); c.lineTo(a.x + a.w, Y(v)); }
    c.stroke();
  }

  function frame(c, X, Y, a) {
    c.font = "11px system-ui, sans-serif";
    c.strokeStyle = css("quiet"); c.lineWidth = 0.8;
    c.strokeRect(a.x, a.y, a.w, a.h);
    c.fillStyle = css("quiet"); c.textAlign = "center"; c.textBaseline = "top";
    for (const [v, label] of ticks(view.x0, view.x1, false, a.w / 80)) {
      c.beginPath(); c.moveTo(X(v), a.y + a.h); c.lineTo(X(v), a.y + a.h + 4); c.stroke();
      c.fillText(label, X(v), a.y + a.h + 7);
    }
    c.fillText("x, µm", a.x + a.w / 2, a.y + a.h + 22);
    c.textAlign = "right"; c.textBaseline = "middle";
    for (const [v, label] of ticks(view.y0, view.y1, false, a.h / 40)) {
      c.beginPath(); c.moveTo(a.x - 4, Y(v)); c.lineTo(a.x, Y(v)); c.stroke();
      c.fillText(label, a.x - 7, Y(v));
    }
    c.save();
    c.translate(12, a.y + a.h / 2); c.rotate(-Math.PI / 2); c.textAlign = "center";
    c.fillText("depth, µm", 0, 0);
    c.restore();
    // Contacts and gates stand on the surface, if that is in view.
    if (view.y0 > 0.001 * ground.y1) return;
    c.textBaseline = "bottom"; c.textAlign = "center";
    let last = -1e9;
    for (const t of ground.contacts) {
      const m = X((t.from + t.to) / 2);
      const p = Math.max(a.x, X(t.from)), r = Math.min(a.x + a.w, X(t.to));
      if (r < a.x || p > a.x + a.w) continue;
      c.fillStyle = css(t.gate ? "plate" : "metal");
      c.fillRect(p, a.y - (t.gate ? 7 : 4), Math.max(1.5, r - p), t.gate ? 6 : 4);
      const w = c.measureText(t.name).width;
      if (m - w / 2 > last + 6 && m - w / 2 > 0 && m + w / 2 < a.x + a.w + right) {
        c.fillStyle = css("text");
        c.fillText(t.name, m, a.y - 8);
        last = m + w / 2;
      }
    }
  }

  /** The scale of colours with its values. */
  function scale() {
    const bar = figure.querySelector("canvas.bar"), q = quantity(key), m = mapOf(point, key);
    bar.width = 256; bar.height = 1;
    const c = bar.getContext("2d"), image = c.createImageData(256, 1);
    new Uint32Array(image.data.buffer).set(ramps[q.ramp]);
    c.putImageData(image, 0, 0);
    const marks = figure.querySelector(".marks");
    marks.textContent = "";
    const shares = [0, 0.25, 0.5, 0.75, 1];
    shares.forEach((t) => html("span", {}, marks, si(value(m, q, t), q.unit)));
    figure.querySelector(".what").textContent = `${q.name[0].toUpperCase()}${q.name.slice(1)} at the ${set.points[point].label}${of(point)}`;
    big.setAttribute("aria-label", `Map of ${q.name} at ${set.points[point].label}${of(point)}, from `
      + `${si(value(m, q, 0), q.unit)} to ${si(value(m, q, 1), q.unit)}. Arrow keys move a probe.`);
  }

  function read(px, py) {
    probe = [px, py];
    const said = known(point).map((q) => {
      const t = share(point, q.key, px, py);
      return t === null ? null : `${q.name} ${si(value(mapOf(point, q.key), q, t), q.unit)}`;
    }).filter(Boolean);
    output.textContent = `x ${px.toFixed(3)} µm, depth ${py.toFixed(3)} µm: ` + (said.join(" · ") || "no silicon");
    draw();
  }

  const where = (e) => {
    const r = big.getBoundingClientRect();
    const u = (e.clientX - r.left - left) / (r.width - left - right);
    const v = (e.clientY - r.top - top) / (r.height - top - bottom);
    if (u < 0 || u > 1 || v < 0 || v > 1) return null;
    return [view.x0 + u * (view.x1 - view.x0), view.y0 + v * (view.y1 - view.y0)];
  };
  function zoom(factor, at) {
    const [cx, cy] = at || [(view.x0 + view.x1) / 2, (view.y0 + view.y1) / 2];
    const w = (view.x1 - view.x0) * factor, h = (view.y1 - view.y0) * factor;
    view = within(cx - (cx - view.x0) * factor, cy - (cy - view.y0) * factor, w, h);
    draw();
  }
  /** A view moved and cut until it lies in the cut that is shown. */
  function within(x0, y0, w, h) {
    const g = ground;
    w = Math.min(g.x1 - g.x0, w); h = Math.min(g.y1, h);
    x0 = Math.min(g.x1 - w, Math.max(g.x0, x0));
    y0 = Math.min(g.y1 - h, Math.max(0, y0));
    return { x0, x1: x0 + w, y0, y1: y0 + h };
  }
  function shift(dx, dy) {
    view = within(view.x0 + dx, view.y0 + dy, view.x1 - view.x0, view.y1 - view.y0);
    draw();
  }
  let drag = null;
  big.addEventListener("pointermove", (e) => {
    if (drag) {
      const r = big.getBoundingClientRect();
      shift((drag[0] - e.clientX) / (r.width - left - right) * (view.x1 - view.x0),
        (drag[1] - e.clientY) / (r.height - top - bottom) * (view.y1 - view.y0));
      drag = [e.clientX, e.clientY];
      return;
    }
    const p = where(e);
    if (p) read(...p);
  });
  big.addEventListener("pointerdown", (e) => { if (e.pointerType === "mouse") { drag = [e.clientX, e.clientY]; big.setPointerCapture(e.pointerId); } });
  big.addEventListener("pointerup", () => { drag = null; });
  big.addEventListener("dblclick", (e) => { const p = where(e); if (p) zoom(0.4, p); });
  big.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && !e.metaKey) return;
    e.preventDefault();
    zoom(e.deltaY > 0 ? 1.3 : 0.77, where(e));
  }, { passive: false });
  big.addEventListener("keydown", (e) => {
    const step = [(view.x1 - view.x0) / 60, (view.y1 - view.y0) / 40];
    const p = probe || [(view.x0 + view.x1) / 2, (view.y0 + view.y1) / 2];
    const move = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] }[e.key];
    if (move) {
      read(Math.min(view.x1, Math.max(view.x0, p[0] + move[0] * step[0])),
        Math.min(view.y1, Math.max(view.y0, p[1] + move[1] * step[1])));
    } else if (e.key === "+") zoom(0.7, probe);
    else if (e.key === "-") zoom(1.4, probe);
    else if (e.key === "0") { view = whole(ground); draw(); }
    else return;
    e.preventDefault();
  });

  const tools = figure.querySelector(".tools");
  for (const [name, text] of [["flow", "current lines"], ["junction", "junctions"], ["mesh", "mesh"]]) {
    const b = html("button", { type: "button", "aria-pressed": String(show[name]) }, tools, text);
    b.addEventListener("click", () => {
      show[name] = !show[name];
      b.setAttribute("aria-pressed", String(show[name]));
      draw();
    });
  }
  for (const [text, name, action] of [["+", "Zoom in", () => zoom(0.6, probe)], ["−", "Zoom out", () => zoom(1.6, probe)],
    ["whole", "Show the whole cut", () => { view = whole(ground); draw(); }]]) {
    html("button", { type: "button", title: name, "aria-label": name }, tools, text).addEventListener("click", action);
  }

  // The same map of the other results, at the corresponding point.
  const twin = (mesh) => set.points.findIndex((o) => o.mesh === mesh && o.group === set.points[point].group
    && (o.maps[key] || key === "net-doping"));
  const twins = [];
  if (several) {
    const group = figure.querySelector(".twins");
    [...new Set(set.points.map((o) => o.mesh))].forEach((mesh) => {
      const b = html("button", { type: "button", "data-mesh": mesh }, group, set.points.find((o) => o.mesh === mesh).of);
      b.addEventListener("click", () => choose(twin(mesh), key));
      twins.push(b);
    });
  }

  // The contact sheet: every quantity at every point, small; a click makes it large.
  const sheet = figure.querySelectorAll(".sheet button");
  function choose(p, k) {
    // The same place is kept in view where the results are drawn to the same extent.
    const last = ground, moved = groundOf(p);
    if (moved !== last && ["x0", "x1", "y1"].some((e) => Math.abs(moved[e] - last[e]) > 1e-9)) { view = whole(moved); probe = null; }
    [point, key, ground] = [p, k, moved];
    twins.forEach((b) => {
      b.disabled = twin(Number(b.dataset.mesh)) < 0;
      b.setAttribute("aria-pressed", String(Number(b.dataset.mesh) === set.points[point].mesh));
    });
    sheet.forEach((b) => b.setAttribute("aria-pressed", String(Number(b.dataset.point) === point && b.dataset.key === key)));
    draw();
  }
  sheet.forEach((b) => {
    const canvas = b.querySelector("canvas"), p = Number(b.dataset.point);
    const g = groundOf(p), w = 192, h = Math.round(w * shapeOf(g));
    canvas.width = w; canvas.height = h;
    paint(canvas.getContext("2d"), p, b.dataset.key, whole(g), { x: 0, y: 0, w, h });
    b.addEventListener("click", () => choose(p, b.dataset.key));
  });
  new ResizeObserver(() => draw()).observe(big.parentElement);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
  choose(point, key);
  figure.dataset.drawn = "yes";
}

document.querySelectorAll("figure[data-maps]").forEach((f) => maps(f, data.maps[f.dataset.maps]));
document.documentElement.dataset.ready = "yes";
