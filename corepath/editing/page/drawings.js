// The drawings as they come from the workshop, and the place of the cross section.
import { at, fill } from "./parts.js";

const PX = 96 / 25.4;
const names = ["plan", "long", "cross", "stack"];
export const shown = {};  // the last drawing of each name
let send = () => {};
let waiting = false, view = "", scale = 1, unit = "mm";

export function job(it) {
  scale = it.scale ?? scale;
  unit = it.units ?? unit;
  told();
}

export function start(sender) {
  send = sender;
  new ResizeObserver(measure).observe(at("board"));
  at("cut").addEventListener("input", cut);
}

// The workshop draws as wide as the page is, so that letters are as large as on paper.
export function measure(anew) {
  const wide = at("plan").parentElement.clientWidth / PX, narrow = at("cross").parentElement.clientWidth / PX;
  const now = `${wide} ${narrow}`;
  if (wide < 10 || (now === view && anew !== true)) return;
  view = now;
  send({ kind: "view", wide, narrow });
}

export function show(drawings) {
  for (const name of names) draw(name, drawings[name]);
  const { across, width } = drawings.plan, half = (width / 2 - 5) / across[1];
  const first = !at("cut").min;
  Object.assign(at("cut"), { min: -half, max: half });
  if (first) { at("cut").value = 0; told(); }
}

export function cross(drawing) { draw("cross", drawing); waiting = false; }

function draw(name, drawing) {
  shown[name] = drawing;
  const svg = at(name);
  svg.setAttribute("viewBox", `0 0 ${drawing.width} ${drawing.height}`);
  let layer = svg.querySelector(".drawn");
  if (!layer) svg.prepend(layer = document.createElementNS(svg.namespaceURI, "g"));
  layer.setAttribute("class", "drawn");
  layer.innerHTML = drawing.svg;
  fill(`${name}-title`, drawing.title);
}

// Where the cut is, in the units of the job; the slider itself is in mm.
function told() {
  const says = `${(Number(at("cut").value) / scale).toFixed(scale === 1 ? 0 : 2)} ${unit}`;
  fill("cut-at", says);
  at("cut").setAttribute("aria-valuetext", says);
}

function cut() {
  told();
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => send({ kind: "cut", at: Number(at("cut").value) }));
}

// Where (u, v) of a drawing's model, mm, lies on it.
export const place = (drawing, u, v) => [drawing.across[0] + drawing.across[1] * u, drawing.up[0] - drawing.up[1] * v];
