// The blank as an image and as figures: one hue, dark where little is left.
const HIGH = [240, 247, 246], LOW = [109, 176, 177], NONE = plan.steps.nothing;
const statesHeld = new Map();

function blankState(index) {
  if (!statesHeld.has(index)) statesHeld.set(index, loadState(plan.states[index]));
  return statesHeld.get(index);
}

async function loadState(entry) {
  const [wb, wt, cb, ct] = await Promise.all([...entry.wood, ...entry.casting].map(face));
  const [x0, y0, px, py, nx, ny] = entry.at;
  let highest = 0;
  const top = new Int16Array(wt.length);
  for (let i = 0; i < top.length; i++) {
    top[i] = wt[i] > ct[i] ? wt[i] : ct[i];
    if (top[i] > highest) highest = top[i];
  }
  return { x0, y0, px, py, nx, ny, wb, wt, cb, ct, top, highest: highest * plan.steps.height, image: null, version: 0 };
}

const colourOf = (share) => LOW.map((low, k) => Math.round(low + (HIGH[k] - low) * Math.min(Math.max(share, 0), 1)));

// Row 0 of the image is the farthest Y. Castings are hatched by columns; where nothing is left the paper shows.
// Of a blank that is being cut only the part that has changed is drawn anew.
function heightImage(s, ceiling) {
  const whole = { x0: 0, x1: s.nx - 1, y0: 0, y1: s.ny - 1 };
  const kept = s.image && s.ceiling === ceiling, part = kept ? s.dirty : whole;
  if (!part) return s.image;
  if (!s.image) {
    s.image = document.createElement("canvas");
    s.image.width = s.nx; s.image.height = s.ny;
  }
  const context = s.image.getContext("2d"), wide = part.x1 - part.x0 + 1, tall = part.y1 - part.y0 + 1;
  const data = context.createImageData(wide, tall);
  const pixels = new Uint32Array(data.data.buffer);
  const steps = Math.max(Math.round(ceiling / plan.steps.height), 1), table = colourTable(steps);
  const ink = (255 << 24) | (0x4a << 16) | (0x40 << 8) | 0x1c;
  const pitch = Math.max(Math.round(7 / s.px), 4);
  for (let iy = part.y0; iy <= part.y1; iy++) {
    const row = (part.y1 - iy) * wide - part.x0;
    for (let ix = part.x0; ix <= part.x1; ix++) {
      const i = iy * s.nx + ix, top = s.top[i];
      if (top === NONE) continue;
      const hatched = s.ct[i] === top && s.ct[i] > s.cb[i] && (ix + iy) % pitch === 0;
      pixels[row + ix] = hatched ? ink : table[Math.min(Math.max(top, 0), steps)];
    }
  }
  context.putImageData(data, part.x0, s.ny - 1 - part.y1);
  s.ceiling = ceiling; s.dirty = null;
  return s.image;
}

let tableHeld = null;
function colourTable(steps) {
  if (tableHeld && tableHeld.length === steps + 1) return tableHeld;
  tableHeld = new Uint32Array(steps + 1);
  for (let k = 0; k <= steps; k++) {
    const [r, g, b] = colourOf(k / steps);
    tableHeld[k] = (255 << 24) | (b << 16) | (g << 8) | r;
  }
  return tableHeld;
}

function columnAt(s, x, y) {
  const ix = Math.round((x - s.x0) / s.px), iy = Math.round((y - s.y0) / s.py);
  return ix < 0 || iy < 0 || ix >= s.nx || iy >= s.ny ? -1 : iy * s.nx + ix;
}

// What stands in a column: its top over the bed and how much solid there is, mm; null where nothing is.
function leftAt(s, x, y) {
  const i = columnAt(s, x, y);
  if (i < 0 || s.top[i] === NONE) return null;
  const step = plan.steps.height;
  const wood = s.wt[i] === NONE ? 0 : (s.wt[i] - s.wb[i]) * step;
  const casting = s.ct[i] === NONE ? 0 : (s.ct[i] - s.cb[i]) * step;
  return { top: s.top[i] * step, wood, casting };
}
