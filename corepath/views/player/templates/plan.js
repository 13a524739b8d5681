// The path from above. Layers are drawn once and kept; a frame only adds what was cut since, on what is kept.
const INK = "#0b2b33", COMING = "#40545a", MOST_A_FRAME = 24000, KEPT_BYTES = 64e6;
const planView = {
  canvas: byId("plan-view"), width: 0, height: 0, ratio: 1, view: null, fitted: true, layers: null, job: null,
  t: null, shapes: [], moved: 0,
};

function planSize() {
  const v = planView, box = v.canvas.clientWidth;
  const tall = Math.min(Math.max((box * plan.size[1]) / plan.size[0] + 30, 200), Math.max(window.innerHeight * 0.42, 220));
  v.width = box; v.height = Math.round(tall); v.ratio = Math.min(window.devicePixelRatio || 1, 2);
  v.canvas.style.height = v.height + "px";
  v.canvas.width = Math.round(v.width * v.ratio);
  v.canvas.height = Math.round(v.height * v.ratio);
  v.layers = null;
  if (v.fitted || !v.view) fitPlan();
  startLayers();
}

function fitPlan() {
  const v = planView, margin = 12;
  const scale = Math.min((v.width - 2 * margin) / plan.size[0], (v.height - 2 * margin) / plan.size[1]);
  v.view = { scale, x: 0, y: 0 };
  v.fitted = true;
  v.canvas.style.touchAction = "pan-y";
}

// Bed to pixels: the middle of the view lies in the middle of the canvas.
const toX = (v, x) => v.width / 2 + (x - v.view.x) * v.view.scale;
const toY = (v, y) => v.height / 2 - (y - v.view.y) * v.view.scale;
const fromX = (v, px) => v.view.x + (px - v.width / 2) / v.view.scale;
const fromY = (v, py) => v.view.y - (py - v.height / 2) / v.view.scale;

function zoomPlan(factor, px, py) {
  const v = planView, x = fromX(v, px ?? v.width / 2), y = fromY(v, py ?? v.height / 2);
  const scale = Math.min(Math.max(v.view.scale * factor, 0.05), 400);
  v.view = { scale, x: x - ((px ?? v.width / 2) - v.width / 2) / scale, y: y + ((py ?? v.height / 2) - v.height / 2) / scale };
  movedPlan();
}

function panPlan(dx, dy) {
  const v = planView;
  v.view = { scale: v.view.scale, x: v.view.x - dx / v.view.scale, y: v.view.y + dy / v.view.scale };
  movedPlan();
}

function movedPlan() {
  planView.fitted = false;
  planView.canvas.style.touchAction = "none";
  planView.moved = performance.now();
  planView.job = null;
  draw();
}

// While the file plays, a drawing that is closer goes on to where the cutter is.
function keepInView(x, y) {
  const v = planView, px = toX(v, x), py = toY(v, y);
  if (v.fitted || (px >= 0 && py >= 0 && px <= v.width && py <= v.height)) return;
  v.view = { scale: v.view.scale, x, y };
  v.moved = performance.now();
  v.job = null;
}

const sheetOf = (v) => {
  const canvas = document.createElement("canvas");
  canvas.width = v.canvas.width; canvas.height = v.canvas.height;
  const context = canvas.getContext("2d");
  context.scale(v.ratio, v.ratio);
  return { canvas, context };
};

// New layers for the view as it is now; the old ones are shown, moved, until these are ready.
function startLayers() {
  const v = planView;
  if (!v.t || !v.width) return;
  v.job = { view: v.view, coming: sheetOf(v), done: sheetOf(v), at: 1, cut: 1, kept: [] };
}

// Draws pieces [from, to) of the path; places nearer than half a pixel to the last one are left out.
function strokePath(context, v, view, from, to, colour, weight) {
  const t = v.t, { zero } = t.reel, { rapid, dwell, stop } = plan.flags;
  const cx = v.width / 2 - (view.x - zero[0]) * view.scale, cy = v.height / 2 + (view.y - zero[1]) * view.scale;
  const cuts = new Path2D(), rapids = new Path2D();
  let some = false, dashes = false, open = 0, lx = 0, ly = 0;
  for (let k = from; k < to; k++) {
    const flags = t.flags[k];
    if (flags & (dwell | stop)) continue;
    const kind = flags & rapid ? 2 : 1;
    const px = cx + t.x[k] * view.scale, py = cy - t.y[k] * view.scale;
    const path = kind === 2 ? rapids : cuts;
    if (kind !== open) {
      path.moveTo(cx + t.x[k - 1] * view.scale, cy - t.y[k - 1] * view.scale);
      open = kind;
    } else if (Math.abs(px - lx) + Math.abs(py - ly) < 0.5 && k + 1 < to && (t.flags[k + 1] & rapid) === (flags & rapid)) {
      continue;
    }
    path.lineTo(px, py);
    lx = px; ly = py;
    if (kind === 2) dashes = true; else some = true;
  }
  context.strokeStyle = colour;
  context.lineJoin = "round";
  if (some) { context.setLineDash([]); context.lineWidth = weight; context.stroke(cuts); }
  if (dashes) { context.setLineDash([8, 4]); context.lineWidth = 0.7; context.stroke(rapids); }
}

const weightOf = (view) => Math.min(Math.max(view.scale * 0.35, 0.45), 1.3);

// Some of the work on new layers; true when there is more.
function workOnLayers(piece) {
  const v = planView, job = v.job;
  if (!job) return false;
  if (job.at < v.t.count) {
    const to = Math.min(job.at + MOST_A_FRAME, v.t.count);
    strokePath(job.coming.context, v, job.view, job.at, to, COMING, weightOf(job.view) * 0.7);
    job.at = to;
    return true;
  }
  if (!catchUp(job, piece)) return true;
  v.layers = job;
  v.job = null;
  return false;
}

// Brings the layer of what is cut to a piece, from the nearest state kept; false when there is more to do.
function catchUp(layers, piece) {
  const v = planView, every = keptEvery(v);
  const target = piece + 1;
  const best = Math.min(Math.floor(target / every), layers.kept.length - 1);
  if (layers.cut > target || (best >= 0 && layers.kept[best] && best * every > layers.cut)) {
    layers.done.context.clearRect(0, 0, v.width, v.height);
    layers.cut = 1;
    for (let k = best; k > 0; k--) {
      if (!layers.kept[k]) continue;
      layers.done.context.drawImage(layers.kept[k], 0, 0, v.width, v.height);
      layers.cut = k * every;
      break;
    }
  }
  let left = MOST_A_FRAME;
  while (layers.cut < target && left > 0) {
    const border = (Math.floor(layers.cut / every) + 1) * every;
    const to = Math.min(target, border, layers.cut + left);
    strokePath(layers.done.context, v, layers.view, layers.cut, to, INK, Math.max(weightOf(layers.view), 0.8));
    left -= to - layers.cut;
    layers.cut = to;
    if (to === border && !layers.kept[to / every]) layers.kept[to / every] = copyOf(layers.done.canvas);
  }
  return layers.cut >= target;
}

// Pieces between two states kept: as many states as fit into some memory, 4 to 16.
function keptEvery(v) {
  const states = Math.min(Math.max(Math.floor(KEPT_BYTES / (v.canvas.width * v.canvas.height * 4)), 4), 16);
  return Math.max(Math.ceil(v.t.count / states), 512);
}

function copyOf(canvas) {
  const copy = document.createElement("canvas");
  copy.width = canvas.width; copy.height = canvas.height;
  copy.getContext("2d").drawImage(canvas, 0, 0);
  return copy;
}

// One frame. Returns true when more remains to be drawn.
function paintPlan(now) {
  const v = planView, context = v.canvas.getContext("2d");
  if (!v.t || !v.width) return false;
  context.setTransform(v.ratio, 0, 0, v.ratio, 0, 0);
  context.clearRect(0, 0, v.width, v.height);
  if (byId("show-heights").checked && now.shown) paintHeights(context, v, now);
  paintShapes(context, v);
  let more = workOnLayers(now.spot.piece);
  if (!v.job && v.layers && v.layers.view !== v.view) {
    if (performance.now() - v.moved > 90) startLayers();
    more = true;
  }
  if (v.layers && byId("show-path").checked) {
    if (!catchUp(v.layers, now.spot.piece)) more = true;
    const old = v.layers.view, grow = v.view.scale / old.scale;
    const x = v.width / 2 + (old.x - v.view.x) * v.view.scale - (v.width / 2) * grow;
    const y = v.height / 2 - (old.y - v.view.y) * v.view.scale - (v.height / 2) * grow;
    for (const layer of [v.layers.coming, v.layers.done]) {
      context.drawImage(layer.canvas, x, y, v.width * grow, v.height * grow);
    }
  }
  paintCutter(context, v, now);
  return more;
}

function paintHeights(context, v, now) {
  const s = now.shown, image = heightImage(s, now.ceiling);
  const x = toX(v, s.x0 - s.px / 2), y = toY(v, s.y0 + (s.ny - 0.5) * s.py);
  context.imageSmoothingEnabled = v.view.scale * s.px < 2;
  context.drawImage(image, x, y, s.nx * s.px * v.view.scale, s.ny * s.py * v.view.scale);
}

function paintShapes(context, v) {
  context.lineWidth = 1;
  for (const shape of v.t.reel.shapes) {
    if (shape.kind === "casting") continue;
    context.beginPath();
    for (let i = 0; i < shape.points.length; i += 2) context.lineTo(toX(v, shape.points[i]), toY(v, shape.points[i + 1]));
    context.closePath();
    context.strokeStyle = INK;
    context.setLineDash(shape.kind === "outline" ? [14, 3, 2, 3, 2, 3] : []);
    context.stroke();
  }
  context.setLineDash([]);
  context.strokeRect(toX(v, -plan.size[0] / 2), toY(v, plan.size[1] / 2), plan.size[0] * v.view.scale, plan.size[1] * v.view.scale);
  paintZero(context, v);
}

// The file's X and Y zero: two arrows that begin there.
function paintZero(context, v) {
  const [zx, zy] = v.t.reel.zero, x = toX(v, zx), y = toY(v, zy), long = 26;
  context.strokeStyle = context.fillStyle = INK;
  context.lineWidth = 1.4;
  context.font = "bold 12px sans-serif";
  for (const [dx, dy, name] of [[1, 0, "X"], [0, -1, "Y"]]) {
    context.beginPath();
    context.moveTo(x, y);
    context.lineTo(x + dx * long, y + dy * long);
    context.moveTo(x + dx * (long - 6) + dy * 3, y + dy * (long - 6) + dx * 3);
    context.lineTo(x + dx * long, y + dy * long);
    context.lineTo(x + dx * (long - 6) - dy * 3, y + dy * (long - 6) - dx * 3);
    context.stroke();
    context.fillText(name, x + dx * (long + 3) + dy * -5, y + dy * (long + 3) + dx * 4);
  }
}

function paintCutter(context, v, now) {
  const { cutter, zero } = v.t.reel, tip = now.tip;
  const x = toX(v, tip.x + zero[0]), y = toY(v, tip.y + zero[1]);
  const k = now.spot.piece;
  if (k > 0 && byId("show-path").checked) {
    context.strokeStyle = INK;
    context.lineWidth = 2;
    context.setLineDash(v.t.flags[k] & plan.flags.rapid ? [8, 4] : []);
    context.beginPath();
    context.moveTo(toX(v, v.t.x[k - 1] + zero[0]), toY(v, v.t.y[k - 1] + zero[1]));
    context.lineTo(x, y);
    context.stroke();
    context.setLineDash([]);
  }
  const radius = Math.max(cutter.radius * v.view.scale, 3);
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.fillStyle = "rgba(255,255,255,.55)";
  context.fill();
  for (const [colour, weight] of [["#fff", 5], [INK, 2.2]]) {
    context.strokeStyle = colour;
    context.lineWidth = weight;
    context.beginPath();
    context.arc(x, y, radius, 0, 2 * Math.PI);
    context.moveTo(x - radius - 7, y); context.lineTo(x - radius, y);
    context.moveTo(x + radius, y); context.lineTo(x + radius + 7, y);
    context.moveTo(x, y - radius - 7); context.lineTo(x, y - radius);
    context.moveTo(x, y + radius); context.lineTo(x, y + radius + 7);
    context.stroke();
  }
  paintCutLines(context, v, now);
}

// Where the two sections lie: short marks at the rims.
function paintCutLines(context, v, now) {
  const x = toX(v, now.cut.x), y = toY(v, now.cut.y), long = 14;
  context.strokeStyle = INK;
  context.lineWidth = 2.5;
  context.beginPath();
  context.moveTo(0, y); context.lineTo(long, y); context.moveTo(v.width - long, y); context.lineTo(v.width, y);
  context.moveTo(x, 0); context.lineTo(x, long); context.moveTo(x, v.height - long); context.lineTo(x, v.height);
  context.stroke();
}
