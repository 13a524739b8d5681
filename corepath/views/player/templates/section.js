// Sections through the blank: along X at one Y, along Y at one X. Heights are drawn larger than lengths.
const WOOD = "#f3efe6", TALL = 150;

function sectionFrame(canvas, low, high, from, to, margin) {
  const width = canvas.clientWidth, ratio = Math.min(window.devicePixelRatio || 1, 2);
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== TALL * ratio) {
    canvas.style.height = TALL + "px";
    canvas.width = Math.round(width * ratio);
    canvas.height = TALL * ratio;
  }
  const context = canvas.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, TALL);
  const sx = (width - margin) / (to - from), sz = (TALL - 16) / (high - low);
  const px = (x) => margin + (x - from) * sx, pz = (z) => TALL - 8 - (z - low) * sz;
  return { context, width, margin, px, pz, sx, sz, low, high, from, to };
}

// One row or column of the lattice as a list of places and the four faces at them.
function lineOf(s, along, at) {
  const rows = along === "x";
  const fixed = rows ? Math.round((at - s.y0) / s.py) : Math.round((at - s.x0) / s.px);
  if (fixed < 0 || fixed >= (rows ? s.ny : s.nx)) return null;
  return {
    count: rows ? s.nx : s.ny, start: rows ? s.x0 : s.y0, pitch: rows ? s.px : s.py,
    index: rows ? (i) => fixed * s.nx + i : (i) => i * s.nx + fixed,
  };
}

// The area between two faces of a line, as a path; each column reaches half a pitch to either side.
function areaOf(f, row, bottom, top) {
  const path = new Path2D(), step = plan.steps.height, half = row.pitch / 2;
  let first = -1;
  for (let i = 0; i <= row.count; i++) {
    const there = i < row.count && top[row.index(i)] !== NONE && top[row.index(i)] > bottom[row.index(i)];
    if (there && first < 0) first = i;
    if (there || first < 0) continue;
    for (let k = first; k < i; k++) {
      const z = f.pz(top[row.index(k)] * step), x = row.start + k * row.pitch;
      if (k === first) path.moveTo(f.px(x - half), z);
      path.lineTo(f.px(x), z);
      if (k === i - 1) path.lineTo(f.px(x + half), z);
    }
    for (let k = i - 1; k >= first; k--) {
      const z = f.pz(bottom[row.index(k)] * step), x = row.start + k * row.pitch;
      if (k === i - 1) path.lineTo(f.px(x + half), z);
      path.lineTo(f.px(x), z);
      if (k === first) path.lineTo(f.px(x - half), z);
    }
    path.closePath();
    first = -1;
  }
  return path;
}

let hatching = null;
function hatchPattern(context) {
  if (hatching) return hatching;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 7;
  const c = tile.getContext("2d");
  c.strokeStyle = INK; c.lineWidth = 1;
  c.beginPath(); c.moveTo(-1, 8); c.lineTo(8, -1); c.moveTo(-1, 1); c.lineTo(1, -1); c.moveTo(6, 8); c.lineTo(8, 6); c.stroke();
  hatching = context.createPattern(tile, "repeat");
  return hatching;
}

function paintSection(canvas, along, now) {
  const { t, shown, other, cut, tip } = now;
  if (!t || !shown || !canvas.clientWidth) return;
  const zero = t.reel.zero, at = along === "x" ? cut.y : cut.x;
  let from = fromX(planView, 0), to = fromX(planView, planView.width);
  if (along === "y") {
    const half = planView.fitted ? plan.size[1] / 2 + 4 : planView.width / planView.view.scale / 2;
    [from, to] = [planView.view.y - half, planView.view.y + half];
  }
  const low = Math.min(0, t.lowest + zero[2]) - 1, high = Math.max(now.ceiling, t.highest + zero[2]) + 1;
  const f = sectionFrame(canvas, low, high, from, to, along === "x" ? 0 : 34), c = f.context;
  c.save();
  c.beginPath(); c.rect(f.margin, 0, f.width - f.margin, TALL); c.clip();
  const row = lineOf(shown, along, at);
  if (row) {
    const wood = areaOf(f, row, shown.wb, shown.wt), casting = areaOf(f, row, shown.cb, shown.ct);
    c.fillStyle = WOOD; c.fill(wood);
    c.fillStyle = hatchPattern(c); c.fill(casting);
    c.strokeStyle = INK; c.lineWidth = 1.2; c.setLineDash([]);
    c.stroke(wood); c.stroke(casting);
    if (other && other !== shown) {
      c.lineWidth = 0.8; c.setLineDash([12, 3, 2, 3, 2, 3]);
      c.stroke(areaOf(f, row, other.wb, other.wt));
      c.stroke(areaOf(f, row, other.cb, other.ct));
    }
  }
  c.setLineDash([]);
  c.lineWidth = 2.4; c.strokeStyle = INK;
  c.beginPath(); c.moveTo(f.px(from), f.pz(0)); c.lineTo(f.px(to), f.pz(0)); c.stroke();
  if (byId("show-path").checked) paintNear(f, along, at, now);
  paintNose(f, along, at, now, tip);
  c.restore();
  paintScale(f);
  const times = f.sz / f.sx;
  byId(along === "x" ? "along-title" : "across-title").textContent =
    `Section along ${along === "x" ? "X at Y" : "Y at X"} ${shownLength(at - zero[along === "x" ? 1 : 0])}: heights ${times.toFixed(1)} times as large as lengths; ` +
    `${now.isAfter ? "after the file" : now.isRunning ? "as it is now" : "before the file"}, dash-dotted ${now.isAfter ? "before" : "after"} it; casting hatched; the thick line is the bed.`;
}

// The path within the cutter's width of the section: to come thin, cut already darker.
function paintNear(f, along, at, now) {
  const { t, spot } = now, { zero, cutter } = t.reel, { rapid, dwell, stop } = plan.flags;
  const a = along === "x" ? t.x : t.y, b = along === "x" ? t.y : t.x;
  const za = along === "x" ? zero[0] : zero[1], zb = along === "x" ? zero[1] : zero[0];
  const near = at - zb, within = cutter.radius, c = f.context;
  const paths = [new Path2D(), new Path2D(), new Path2D()];
  let open = -1;
  for (let k = 1; k < t.count; k++) {
    const d0 = b[k - 1] - near, d1 = b[k] - near;
    if (t.flags[k] & (dwell | stop) || (d0 > within && d1 > within) || (d0 < -within && d1 < -within)) {
      open = -1;
      continue;
    }
    const kind = t.flags[k] & rapid ? 2 : k <= spot.piece ? 1 : 0;
    const s0 = inBand(d0, d1, within), s1 = 1 - inBand(d1, d0, within), z = zero[2];
    if (open !== kind || s0 > 0) {
      paths[kind].moveTo(f.px(a[k - 1] + (a[k] - a[k - 1]) * s0 + za), f.pz(t.z[k - 1] + (t.z[k] - t.z[k - 1]) * s0 + z));
    }
    paths[kind].lineTo(f.px(a[k - 1] + (a[k] - a[k - 1]) * s1 + za), f.pz(t.z[k - 1] + (t.z[k] - t.z[k - 1]) * s1 + z));
    open = s1 < 1 ? -1 : kind;
  }
  c.strokeStyle = COMING; c.lineWidth = 0.6; c.setLineDash([]); c.stroke(paths[0]);
  c.setLineDash([8, 4]); c.stroke(paths[2]);
  c.strokeStyle = INK; c.lineWidth = 1.1; c.setLineDash([]); c.stroke(paths[1]);
}

// Share of a piece, from its first end, that lies outside the band.
function inBand(d0, d1, within) {
  if (d0 > within) return (d0 - within) / (d0 - d1);
  if (d0 < -within) return (-within - d0) / (d1 - d0);
  return 0;
}

// The cutter where the section meets it.
function paintNose(f, along, at, now, tip) {
  const { cutter, zero } = now.t.reel;
  const x = (along === "x" ? tip.x + zero[0] : tip.y + zero[1]);
  const off = (along === "x" ? tip.y + zero[1] : tip.x + zero[0]) - at, z = tip.z + zero[2];
  if (Math.abs(off) > cutter.radius) return;
  const half = Math.sqrt(cutter.radius ** 2 - off ** 2), c = f.context;
  const { end } = cutter, last = end.length - 1;
  const rise = (d) => {
    const place = (Math.min(d, cutter.radius) / cutter.radius) * last, k = Math.min(Math.floor(place), last - 1);
    return end[k] + (end[k + 1] - end[k]) * (place - k);
  };
  c.beginPath();
  c.moveTo(f.px(x - half), f.pz(z + cutter.cutting));
  for (let i = -24; i <= 24; i++) {
    const dx = (half * i) / 24;
    c.lineTo(f.px(x + dx), f.pz(z + rise(Math.hypot(dx, off))));
  }
  c.lineTo(f.px(x + half), f.pz(z + cutter.cutting));
  c.closePath();
  c.fillStyle = "rgba(255,255,255,.75)"; c.fill();
  c.strokeStyle = INK; c.lineWidth = 2; c.setLineDash([]); c.stroke();
}

function paintScale(f) {
  const c = f.context, span = f.high - f.low, step = span > 60 ? 20 : span > 24 ? 5 : 2;
  c.fillStyle = c.strokeStyle = INK; c.lineWidth = 1; c.setLineDash([]);
  c.font = "11px sans-serif"; c.textAlign = "right"; c.textBaseline = "middle";
  const rim = Math.max(f.margin, 30);
  for (let z = Math.ceil(f.low / step) * step; z <= f.high; z += step) {
    c.beginPath(); c.moveTo(rim - 5, f.pz(z)); c.lineTo(rim, f.pz(z)); c.stroke();
    c.save(); c.strokeStyle = "#fff"; c.lineWidth = 4; c.lineJoin = "round";
    c.strokeText(String(z).replace("-", "−"), rim - 8, f.pz(z)); c.restore();
    c.fillText(String(z).replace("-", "−"), rim - 8, f.pz(z));
  }
  if (f.margin) { c.beginPath(); c.moveTo(rim, 0); c.lineTo(rim, TALL); c.stroke(); }
}
