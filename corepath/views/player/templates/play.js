// Where the file stands: a piece and the share of it that is run. All ways to move it end in `stand`.
const player = {
  number: 0, t: null, spot: { piece: 0, share: 1 }, playing: false, last: 0, before: null, after: null, running: null,
  cut: { x: 0, y: 0 }, waiting: false, ceiling: 1,
};

const shownLength = (value) => {
  const told = plan.inch ? (value / 25.4).toFixed(4) : value.toFixed(3);
  return (Number(told) === 0 ? told.replace("-", "") : told).replace("-", "−");
};

const clock = (seconds) => {
  const whole = Math.floor(seconds + 1e-6), m = Math.floor(whole / 60) % 60, h = Math.floor(whole / 3600);
  const two = (n) => String(n).padStart(2, "0");
  return h ? `${h}:${two(m)}:${two(whole % 60)}` : `${m}:${two(whole % 60)}`;
};

function now() {
  const p = player, tip = tipAt(p.t, p.spot), zero = p.t.reel.zero;
  const wanted = document.querySelector("input[name=state]:checked").value;
  const ended = p.spot.piece === p.t.count - 1 && p.spot.share === 1;
  const isAfter = wanted === "after" || (wanted === "auto" && ended);
  const isRunning = wanted === "auto" && !ended && !!p.running;
  if (isRunning) runBlank(p.running, p.t, p.spot);
  if (byId("follow").checked) p.cut = { x: onBlank(tip.x + zero[0], 0), y: onBlank(tip.y + zero[1], 1) };
  return {
    t: p.t, spot: p.spot, tip, cut: p.cut, ceiling: p.ceiling, isAfter, isRunning,
    shown: isAfter ? p.after : isRunning ? p.running : p.before, other: isAfter ? p.before : p.after,
  };
}

// The place of the blank nearest to one along an axis: sections follow the cutter no farther than the wood goes.
function onBlank(place, axis) {
  const s = player.before, half = plan.size[axis] / 2 - (s ? (axis ? s.py : s.px) / 2 : 0);
  return Math.min(Math.max(place, -half), half);
}

function draw() {
  if (player.waiting) return;
  player.waiting = true;
  requestAnimationFrame(frame);
}

function frame(time) {
  const p = player;
  p.waiting = false;
  if (!p.t) return;
  if (p.playing) advance(Math.min((time - p.last) / 1000, 0.25));
  p.last = time;
  const state = now();
  if (p.playing) keepInView(state.tip.x + p.t.reel.zero[0], state.tip.y + p.t.reel.zero[1]);
  const more = paintPlan(state);
  paintSection(byId("along"), "x", state);
  paintSection(byId("across"), "y", state);
  paintRelief(state);
  tell(state);
  if (more || p.playing) draw();
}

function advance(seconds) {
  const p = player, speed = Number(byId("speed").value) || Math.max(p.t.total / 30, 0.1);
  const from = p.spot, next = spotAt(p.t, tipAt(p.t, from).seconds + seconds * speed);
  for (let k = from.piece + 1; k <= next.piece; k++) {
    if (p.t.flags[k] & plan.flags.stop && p.t.ends[k] > 0) {
      p.spot = { piece: k, share: 1 };
      halt();
      return;
    }
  }
  if (next.piece > from.piece || (next.piece === from.piece && next.share > from.share)) p.spot = next;
  if (p.spot.piece === p.t.count - 1 && p.spot.share === 1) halt();
}

function play() {
  const p = player;
  if (!p.t) return;
  if (p.spot.piece === p.t.count - 1) stand({ piece: 0, share: 1 });
  p.playing = true;
  p.last = performance.now();
  byId("play").textContent = "pause";
  byId("play").setAttribute("aria-pressed", "true");
  draw();
}

function halt() {
  player.playing = false;
  byId("play").textContent = "play";
  byId("play").setAttribute("aria-pressed", "false");
}

function stand(spot) {
  player.spot = spot;
  draw();
}

const standAt = (piece) => stand({ piece: Math.min(Math.max(piece, 0), player.t.count - 1), share: 1 });

function stepLines(count) {
  halt();
  let spot = player.spot;
  for (let i = 0; i < Math.abs(count); i++) {
    spot = { piece: count > 0 ? lineOn(player.t, spot) : lineBack(player.t, spot), share: 1 };
  }
  stand(spot);
}

function tell(state) {
  const { t, spot, tip } = state, k = spot.piece, flags = t.flags[k], { rapid, dwell, stop, spindle } = plan.flags;
  byId("at-x").textContent = shownLength(tip.x);
  byId("at-y").textContent = shownLength(tip.y);
  byId("at-z").textContent = shownLength(tip.z);
  byId("at-bed").textContent = shownLength(tip.z + t.reel.zero[2]);
  const feed = plan.inch ? (t.feed[k] / 25.4).toFixed(1) + " in/min" : t.feed[k].toFixed(0) + " mm/min";
  const last = k === t.count - 1;
  byId("at-feed").textContent = flags & stop ? (last ? "end" : "stops here") : flags & dwell ? "waits" : k === 0 ? "–" : flags & rapid ? "rapid" : feed;
  byId("at-time").textContent = `${clock(tip.seconds)} of ${clock(t.total)}`;
  byId("at-line").textContent = `${t.line[k]} of ${t.lines.length - (t.lines[t.lines.length - 1] === "" ? 1 : 0)}`;
  const when = byId("when");
  if (document.activeElement !== when || !player.dragging) when.value = tip.seconds;
  when.setAttribute("aria-valuetext", `${clock(tip.seconds)} of ${clock(t.total)}, line ${t.line[k]}${flags & spindle ? "" : ", spindle stopped"}`);
  if (byId("follow").checked) {
    byId("cut-x").value = state.cut.x;
    byId("cut-y").value = state.cut.y;
  }
  byId("cut-x-says").textContent = shownLength(state.cut.x - t.reel.zero[0]);
  byId("cut-y-says").textContent = shownLength(state.cut.y - t.reel.zero[1]);
  tellLines(t, t.line[k]);
}

// The address keeps file and line, so that a page that is loaded anew stands where it stood.
let addressLater = 0;
function keepAddress(file, line) {
  clearTimeout(addressLater);
  addressLater = setTimeout(() => history.replaceState(null, "", `#${file}:${line}`), 400);
}

let linesTold = "";
function tellLines(t, line) {
  const key = t.reel.file + line;
  if (key === linesTold) return;
  linesTold = key;
  keepAddress(t.reel.file, line);
  const pre = byId("text"), from = Math.max(Math.min(line - 3, t.lines.length - 5), 0);
  pre.replaceChildren();
  for (let i = from; i < Math.min(from + 5, t.lines.length); i++) {
    const row = document.createElement(i + 1 === line ? "b" : "span");
    row.textContent = `${String(i + 1).padStart(String(t.lines.length).length)}  ${t.lines[i]}`;
    pre.append(row, "\n");
  }
}

// What the pointer is over: heights before and after the file, and as the file runs.
function tellPlace(x, y) {
  const p = player;
  if (!p.t || !p.before || !p.after) return;
  const zero = p.t.reel.zero, a = leftAt(p.before, x, y), b = leftAt(p.after, x, y);
  const whole = (s) => (s ? s.wood + s.casting : 0);
  const said = (s) => {
    if (!s) return "nothing left";
    const parts = [s.wood ? `${shownLength(s.wood)} wood` : "", s.casting ? `${shownLength(s.casting)} casting` : ""];
    return `${parts.filter(Boolean).join(" and ")}, top ${shownLength(s.top)} over the bed`;
  };
  const off = columnAt(p.before, x, y) < 0, state = now();
  const running = state.isRunning && p.spot.piece ? `now ${said(leftAt(p.running, x, y))}; ` : "";
  byId("place").textContent = `X ${shownLength(x - zero[0])} Y ${shownLength(y - zero[1])}: ` +
    (off ? "beside the blank" : `before ${said(a)}; ${running}after ${said(b)}; this file takes ${shownLength(whole(a) - whole(b))}`);
}
