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
  return { x0, y0, px, py, nx, ny, wb, wt, cb, ct, top, highest: highest * plan.steps.height, image: null };
}

const colourOf = (share) => LOW.map((low, k) => Math.round(low + (HIGH[k] - low) * Math.min(Math.max(share, 0), 1)));

// Row 0 of the image is the farthest Y. Castings are hatched by columns; where nothing is left the paper shows.
function heightImage(s, ceiling) {
  if (s.image && s.ceiling === ceiling) return s.image;
  const canvas = document.createElement("canvas");
  canvas.width = s.nx; canvas.height = s.ny;
  const context = canvas.getContext("2d");
  const data = context.createImageData(s.nx, s.ny);
  const pixels = new Uint32Array(data.data.buffer);
  const steps = Math.max(Math.round(ceiling / plan.steps.height), 1);
  const table = new Uint32Array(steps + 1);
  for (let k = 0; k <= steps; k++) {
    const [r, g, b] = colourOf(k / steps);
    table[k] = (255 << 24) | (b << 16) | (g << 8) | r;
  }
  const ink = (255 << 24) | (0x4a << 16) | (0x40 << 8) | 0x1c;
  const pitch = Math.max(Math.round(7 / s.px), 4);
  for (let iy = 0; iy < s.ny; iy++) {
    const row = (s.ny - 1 - iy) * s.nx;
    for (let ix = 0; ix < s.nx; ix++) {
      const i = iy * s.nx + ix, top = s.top[i];
      if (top === NONE) continue;
      const hatched = s.ct[i] === top && s.ct[i] > s.cb[i] && (ix + iy) % pitch === 0;
      pixels[row + ix] = hatched ? ink : table[Math.min(Math.max(top, 0), steps)];
    }
  }
  context.putImageData(data, 0, 0);
  s.image = canvas; s.ceiling = ceiling;
  return canvas;
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
