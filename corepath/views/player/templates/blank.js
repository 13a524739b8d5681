// The blank while a file runs. Its columns follow the stages that the read-back cut; between the end of one stage
// and the cutter the page sweeps the cutter itself, which the end of the next stage then replaces.
async function loadCuts(reel) {
  const { rows, counts, columns, tops } = reel.cuts;
  const [at, to] = await Promise.all([numbers(columns), inflate(tops).then((data) => summed(new Int16Array(data)))]);
  const starts = [0];
  for (const count of counts) starts.push(starts[starts.length - 1] + count);
  return { rows, starts, at, to };
}

// A state of its own, with the faces that cutting lowers copied. `undo` holds what was swept since the last stage.
function runningBlank(before, cuts) {
  return {
    ...before, wt: before.wt.slice(), ct: before.ct.slice(), top: before.top.slice(), image: null, dirty: null,
    before, cuts, stage: 0, swept: { piece: 0, share: 1 }, undo: [], version: 0,
  };
}

// Lowers one column to a height in steps; what is lowered below its own bottom is gone.
function lowerColumn(s, i, level) {
  if (level >= s.top[i]) return;
  if (s.wt[i] > level) s.wt[i] = level > s.wb[i] ? level : NONE;
  if (s.ct[i] > level) s.ct[i] = level > s.cb[i] ? level : NONE;
  s.top[i] = s.wt[i] > s.ct[i] ? s.wt[i] : s.ct[i];
  soil(s, i % s.nx, (i / s.nx) | 0);
}

// Notes that a column is not as the image shows it.
function soil(s, ix, iy) {
  const d = s.dirty;
  if (!d) s.dirty = { x0: ix, x1: ix, y0: iy, y1: iy };
  else {
    if (ix < d.x0) d.x0 = ix; else if (ix > d.x1) d.x1 = ix;
    if (iy < d.y0) d.y0 = iy; else if (iy > d.y1) d.y1 = iy;
  }
  s.version++;
}

function putBack(s) {
  const { undo } = s;
  for (let k = undo.length - 4; k >= 0; k -= 4) {
    const i = undo[k];
    s.wt[i] = undo[k + 1]; s.ct[i] = undo[k + 2]; s.top[i] = undo[k + 3];
    soil(s, i % s.nx, (i / s.nx) | 0);
  }
  undo.length = 0;
}

const stageAt = (cuts, spot) => {
  let low = 0, high = cuts.rows.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (cuts.rows[middle] < spot.piece || (cuts.rows[middle] === spot.piece && spot.share === 1)) low = middle + 1;
    else high = middle;
  }
  return low;
};

const isBehind = (a, b) => a.piece < b.piece || (a.piece === b.piece && a.share < b.share);

// Brings the running blank to where the file stands.
function runBlank(s, t, spot) {
  const stage = stageAt(s.cuts, spot);
  if (stage !== s.stage || isBehind(spot, s.swept)) {
    putBack(s);
    if (stage < s.stage) {
      for (const name of ["wt", "ct", "top"]) s[name].set(s.before[name]);
      s.stage = 0;
      s.image = null;
      s.version++;
    }
    for (let k = s.cuts.starts[s.stage]; k < s.cuts.starts[stage]; k++) lowerColumn(s, s.cuts.at[k], s.cuts.to[k]);
    s.stage = stage;
    s.swept = { piece: stage ? s.cuts.rows[stage - 1] : 0, share: 1 };
  }
  for (let k = s.swept.share === 1 ? s.swept.piece + 1 : s.swept.piece; k <= spot.piece; k++) {
    const from = k === s.swept.piece ? s.swept.share : 0, to = k === spot.piece ? spot.share : 1;
    if (to > from) sweep(s, t, k, from, to);
  }
  s.swept = { ...spot };
}

// Sweeps the cutter along a part of one piece, at places no farther apart than the columns.
function sweep(s, t, k, from, to) {
  const { zero, cutter } = t.reel, x0 = t.x[k - 1], y0 = t.y[k - 1], z0 = t.z[k - 1];
  const dx = t.x[k] - x0, dy = t.y[k] - y0, dz = t.z[k] - z0;
  if (Math.min(z0, t.z[k]) + zero[2] >= s.highest) return;
  const count = Math.max(Math.ceil((Math.hypot(dx, dy) * (to - from)) / Math.min(s.px, s.py)), 1);
  for (let i = dx || dy ? 0 : count; i <= count; i++) {
    const share = from + ((to - from) * i) / count;
    stamp(s, cutter, x0 + dx * share + zero[0], y0 + dy * share + zero[1], z0 + dz * share + zero[2]);
  }
}

function stamp(s, cutter, x, y, z) {
  const r = cutter.radius, step = plan.steps.height, { end } = cutter, last = end.length - 1;
  const iy0 = Math.max(Math.ceil((y - r - s.y0) / s.py), 0), iy1 = Math.min(Math.floor((y + r - s.y0) / s.py), s.ny - 1);
  for (let iy = iy0; iy <= iy1; iy++) {
    const dy = s.y0 + iy * s.py - y, half = Math.sqrt(r * r - dy * dy);
    const ix0 = Math.max(Math.ceil((x - half - s.x0) / s.px), 0);
    const ix1 = Math.min(Math.floor((x + half - s.x0) / s.px), s.nx - 1);
    for (let ix = ix0; ix <= ix1; ix++) {
      const i = iy * s.nx + ix;
      if (s.top[i] * step <= z) continue;
      const place = (Math.hypot(s.x0 + ix * s.px - x, dy) / r) * last, k = Math.min(place | 0, last - 1);
      const level = Math.max(Math.round((z + end[k] + (end[k + 1] - end[k]) * (place - k)) / step), NONE);
      if (level >= s.top[i]) continue;
      s.undo.push(i, s.wt[i], s.ct[i], s.top[i]);
      lowerColumn(s, i, level);
    }
  }
}
