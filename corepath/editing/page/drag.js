// Handles on the drawings: dragged with mouse or finger, or moved by the arrow keys.
// Nothing is written while one moves; what it would become is worked out as it goes, the last value wins.
import { at, made } from "./parts.js";
import { place, shown } from "./drawings.js";

const SVG = "http://www.w3.org/2000/svg";
const names = { across: ["u", "ArrowLeft", "ArrowRight"], up: ["v", "ArrowDown", "ArrowUp"] };
let send = () => {};
let all = [], scale = 1, unit = "mm", revision = 0;
let moved = null;       // the handle that is being moved: { of, way values, start, key timer }
let waiting = false, wanted = null;

export function start(sender) { send = sender; }

export function job(it) {
  ({ scale = scale, units: unit = unit, revision } = it);
  // a file that cannot be read is left alone: nothing of it can be dragged
  if (it.broken.length) { if (moved) end(); show([]); }
}

export function show(handles, only) {
  all = only ? [...all.filter((one) => one.drawing !== only), ...handles.filter((one) => one.drawing === only)] : handles;
  for (const name of only ? [only] : ["plan", "long", "cross", "stack"]) draw(name);
}

function draw(name) {
  const svg = at(name);
  let layer = svg.querySelector(".handles");
  if (!layer) svg.append(layer = document.createElementNS(SVG, "g"));
  layer.setAttribute("class", "handles");
  const had = document.activeElement?.dataset?.handle;
  const there = new Map([...layer.children].map((one) => [one.dataset.handle, one]));
  const now = all.filter((one) => one.drawing === name).map((one) => {
    const element = there.get(one.id) ?? created(one);
    element.handle = one;
    if (moved?.of.id !== one.id) {
      put(element, one.at);
      told(element, values(one));
    }
    return element;
  });
  // only what is new or gone is touched: a handle that is dragged must stay where it hangs
  for (const element of there.values()) if (!now.includes(element)) element.remove();
  for (const element of now) if (!element.parentNode) layer.append(element);
  if (had && document.activeElement?.dataset?.handle !== had) layer.querySelector(`[data-handle="${CSS.escape(had)}"]`)?.focus();
}

function created(one) {
  const element = document.createElementNS(SVG, "g");
  for (const [name, value] of Object.entries({ class: "handle", role: "slider", tabindex: 0, "aria-roledescription": "handle", "aria-label": one.name, "aria-valuemin": -1e6, "aria-valuemax": 1e6 }))
    element.setAttribute(name, value);
  element.dataset.handle = one.id;
  for (const [kind, r] of [["hit", 3.4], ["dot", 1.45]]) {
    const circle = document.createElementNS(SVG, "circle");
    circle.setAttribute("class", kind);
    circle.setAttribute("r", r);
    element.append(circle);
  }
  element.addEventListener("pointerdown", down);
  element.addEventListener("pointermove", move);
  element.addEventListener("pointerup", up);
  element.addEventListener("pointercancel", cancel);
  element.addEventListener("keydown", key);
  element.addEventListener("focus", () => { if (!moved) hint(element.handle, values(element.handle)); });
  element.addEventListener("blur", () => { if (moved?.by === "keys") commit(); });
  return element;
}

// A handle lies at (u, v) of its drawing's model, mm.
function put(element, [u, v]) {
  const drawing = shown[element.handle.drawing];
  if (!drawing) return;
  const [x, y] = place(drawing, u, v);
  element.setAttribute("transform", `translate(${element.handle.column ? drawing.columns[element.handle.column] ?? x : x} ${y})`);
}

const values = (one) => Object.fromEntries(Object.entries(one.ways).map(([name, way]) => [name, way.now]));

function told(element, now) {
  const text = Object.entries(element.handle.ways).map(([name, way]) => `${way.says} ${typed(way, now[name])} ${unit}`).join(", ");
  element.setAttribute("aria-valuetext", text);
  element.setAttribute("aria-valuenow", Object.values(now)[0]);
  return text;
}

// As many decimals as were typed, or as many as it needs.
function typed(way, value) {
  const had = way.typed.split(".")[1]?.length ?? 0, needs = String(Number(value.toFixed(5))).split(".")[1]?.length ?? 0;
  return value.toFixed(Math.max(had, needs));
}

function hint(one, now) {
  const text = Object.entries(one.ways).map(([name, way]) => `${way.says} ${typed(way, now[name])}`).join(", ");
  const more = [];
  if (one.row && !moved) {
    if (one.row.includes("stations") || one.row.includes("points")) more.push(" ", made("button", { onclick: () => after(one) }, "One more after it"));
    more.push(" ", made("button", { onclick: () => send({ kind: "remove", key: one.row }) }, "Take it out"));
  }
  at("hint").replaceChildren(`${one.name}: ${text} ${unit}`, ...more);
}

// One more element between this one and the next.
function after(one) {
  const index = Number(one.row.match(/\[(\d+)\]$/)[1]), list = one.row.replace(/\[\d+\]$/, "");
  const next = all.find((other) => other.row === `${list}[${index + 1}]`) ?? all.find((other) => other.row === `${list}[${index - 1}]`);
  if (!next) return;
  const middle = [0, 1].map((k) => Number(((one.at[k] + next.at[k]) / 2 / scale).toFixed(3)));
  send({ kind: "insert", key: `${list}[${next.row < one.row && next !== one ? index : index + 1}]`, value: `[${middle.join(", ")}]` });
}

function begin(element, by) {
  moved = { of: element.handle, element, by, now: values(element.handle), from: values(element.handle), revision, at: [...element.handle.at] };
  send({ kind: "turn", ways: Object.values(element.handle.ways).map(({ key, now, step }) => ({ key, now, step })) });
  element.classList.add("moving");
  document.body.classList.add("moving");
}

function down(event) {
  if (moved?.by === "keys") commit();
  if (event.button || moved) return;
  const element = event.currentTarget;
  element.focus();
  element.setPointerCapture(event.pointerId);
  begin(element, "pointer");
  moved.x = event.clientX;
  moved.y = event.clientY;
  moved.px = at(element.handle.drawing).getBoundingClientRect().width / shown[element.handle.drawing].width;
  event.preventDefault();
}

function move(event) {
  if (moved?.by !== "pointer" || moved.element !== event.currentTarget) return;
  const drawing = shown[moved.of.drawing];
  const by = { across: (event.clientX - moved.x) / moved.px / drawing.across[1], up: (moved.y - event.clientY) / moved.px / drawing.up[1] };
  for (const [name, way] of Object.entries(moved.of.ways)) {
    const step = event.altKey ? way.step / 10 : way.step;
    const raw = moved.from[name] + way.sign * by[name] / scale;
    // a value that has not been moved by half a step keeps what was typed
    moved.now[name] = Math.abs(raw - moved.from[name]) < step / 2 ? moved.from[name] : Math.round(raw / step) * step;
  }
  follow();
}

function up(event) {
  if (moved?.by === "pointer" && moved.element === event.currentTarget) commit();
}

function cancel() {
  if (!moved) return;
  const { element, from, of } = moved;
  end();
  put(element, of.at);
  told(element, from);
  hint(of, from);
  send({ kind: "draft", values: {} });
}

function key(event) {
  const element = event.currentTarget;
  if (event.key === "Escape") { cancel(); return; }
  if (event.key === "Enter" && moved) { commit(); return; }
  if (event.key === "Delete" && element.handle.row && !moved) { send({ kind: "remove", key: element.handle.row }); return; }
  for (const [name, [, less, more]] of Object.entries(names)) {
    const way = element.handle.ways[name];
    if (!way || (event.key !== less && event.key !== more)) continue;
    event.preventDefault();
    if (!moved) begin(element, "keys");
    if (moved.element !== element) return;
    const step = way.step * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1) * (event.key === more ? 1 : -1) * way.sign;
    moved.now[name] += step;
    follow();
    clearTimeout(moved.timer);
    moved.timer = setTimeout(commit, 700);
  }
}

// The handle goes with the hand at once; the drawings follow as they come.
function follow() {
  const { element, of, now, from, at: spot } = moved;
  const by = (name) => (of.ways[name] ? (now[name] - from[name]) * of.ways[name].sign * scale : 0);
  put(element, [spot[0] + by("across"), spot[1] + by("up")]);
  told(element, now);
  hint(of, now);
  attempt(changes());
}

function changes() {
  const found = {};
  for (const [name, way] of Object.entries(moved.of.ways))
    if (Math.abs(moved.now[name] - moved.from[name]) > 1e-9) found[way.key] = typed(way, moved.now[name]);
  return found;
}

function attempt(now) {
  if (waiting) { wanted = now; return; }
  waiting = true;
  wanted = null;
  setTimeout(() => { waiting = false; }, 3000);  // should an answer ever be missing
  send({ kind: "draft", values: now });
}

// An answer has come: the newest value goes out.
export function answered() {
  waiting = false;
  if (moved && wanted) attempt(wanted);
}

function commit() {
  if (!moved) return;
  const now = changes(), { revision: from, of } = moved;
  end();
  if (Object.keys(now).length) send({ kind: "set", values: now, revision: from });
  else { send({ kind: "draft", values: {} }); hint(of, values(of)); }
}

// Where the verdict would turn: a line across the way of the handle that is moved.
export function turn(it) {
  const [name, way] = Object.entries(moved?.of.ways ?? {}).find(([, one]) => one.key === it.key) ?? [];
  if (!way || way.now !== it.now) return;
  const svg = at(moved.of.drawing), drawing = shown[moved.of.drawing];
  const go = (it.value - way.now) * way.sign * scale;
  const [u, v] = moved.at, [x, y] = place(drawing, u + (name === "across" ? go : 0), v + (name === "up" ? go : 0));
  let layer = svg.querySelector(".turns");
  if (!layer) svg.insertBefore(layer = document.createElementNS(SVG, "g"), svg.querySelector(".handles"));
  layer.setAttribute("class", "turns");
  const line = document.createElementNS(SVG, "path"), text = document.createElementNS(SVG, "text");
  line.setAttribute("d", name === "across" ? `M${x} 0V${drawing.height}` : `M0 ${y}H${drawing.width}`);
  text.textContent = `${it.answer === "faults" ? "" : `${it.answer}: `}${it.checks.slice(0, 2).join(", ")}`;
  text.setAttribute("x", name === "across" ? x + (x > drawing.width - 30 ? -1 : 1) : 1);
  text.setAttribute("y", name === "across" ? 3.4 : y - 0.8);
  if (name === "across" && x > drawing.width - 30) text.setAttribute("text-anchor", "end");
  text.setAttribute("font-size", 3.2);
  layer.append(line, text);
}

function end() {
  for (const layer of document.querySelectorAll(".turns")) layer.remove();
  clearTimeout(moved.timer);
  moved.element.classList.remove("moving");
  document.body.classList.remove("moving");
  moved = null;
  wanted = null;
  waiting = false;
}

