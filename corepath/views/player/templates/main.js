// The page comes together: choosing a file, pointers, keys.
async function choose(number, line) {
  const reel = plan.reels[number], p = player;
  p.number = number;
  halt();
  byId("file").textContent = reel.file;
  byId("about").textContent = `${reel.name.replace("-", " ")} · ${reel.cutter.says}`;
  byId("face").textContent = `${reel.setup}: ${reel.face}`;
  for (const button of document.querySelectorAll("[data-reel]")) {
    if (Number(button.dataset.reel) === number) {
      button.setAttribute("aria-current", "true");
      const list = byId("files").parentElement;
      list.scrollLeft = button.offsetLeft - list.clientWidth / 2 + button.offsetWidth / 2;
    } else button.removeAttribute("aria-current");
  }
  const t = await track(number);
  if (p.number !== number) return;
  Object.assign(p, { t, before: null, after: null, running: null });
  planView.t = t;
  planView.layers = null;
  byId("when").max = t.total;
  byId("about").textContent += ` · ${clock(t.total)} · ${t.count - 1} moves`;
  measures(reel);
  startLayers();
  if (line) standAt(pieceOfLine(t, line)); else stand({ piece: 0, share: 1 });
  const [before, after, cuts] = await Promise.all([blankState(reel.before), blankState(reel.after), loadCuts(reel)]);
  if (p.number !== number) return;
  Object.assign(p, { before, after, running: runningBlank(before, cuts), ceiling: Math.max(before.highest, after.highest) });
  byId("apart").textContent = plan.inch ? `${(before.px / 25.4).toFixed(3)} in` : `${before.px.toFixed(1)} mm`;
  scaleOf(p.ceiling);
  draw();
}

function measures(reel) {
  byId("measures").replaceChildren(...reel.left.map((row) => {
    const tr = document.createElement("tr");
    for (const cell of row) tr.append(Object.assign(document.createElement("td"), { textContent: cell }));
    return tr;
  }));
}

function scaleOf(ceiling) {
  const stops = [0, 1].map((share) => `rgb(${colourOf(share).join(",")})`);
  byId("ramp").style.background = `linear-gradient(90deg, ${stops.join(", ")})`;
  byId("ramp-figures").replaceChildren(...[0, 0.25, 0.5, 0.75, 1].map((share) => {
    const span = document.createElement("span");
    span.textContent = plan.inch ? ((ceiling * share) / 25.4).toFixed(3) : (ceiling * share).toFixed(1);
    return span;
  }));
  byId("ramp-figures").lastChild.textContent += plan.inch ? " in over the bed" : " mm over the bed";
}

function pointers() {
  const canvas = byId("plan-view"), held = new Map();
  const place = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: event.clientX - box.left - canvas.clientLeft, y: event.clientY - box.top - canvas.clientTop };
  };
  const read = (at) => tellPlace(fromX(planView, at.x), fromY(planView, at.y));
  canvas.addEventListener("pointerdown", (event) => {
    held.set(event.pointerId, place(event));
    canvas.setPointerCapture(event.pointerId);
    read(place(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    const at = place(event), was = held.get(event.pointerId);
    if (!was) return read(at);
    const other = [...held].find(([id]) => id !== event.pointerId);
    if (other) {
      const o = other[1], grown = Math.hypot(at.x - o.x, at.y - o.y) / Math.max(Math.hypot(was.x - o.x, was.y - o.y), 1);
      zoomPlan(grown, (at.x + o.x) / 2, (at.y + o.y) / 2);
      panPlan((at.x - was.x) / 2, (at.y - was.y) / 2);
    } else if (Math.hypot(at.x - was.x, at.y - was.y) > 0) panPlan(at.x - was.x, at.y - was.y);
    held.set(event.pointerId, at);
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => held.delete(event.pointerId));
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas && !event.ctrlKey) return;
    event.preventDefault();
    const at = place(event);
    zoomPlan(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0016)), at.x, at.y);
  }, { passive: false });
}

function refit() {
  fitPlan();
  startLayers();
  draw();
}

const KEYS = {
  " ": () => (player.playing ? halt() : play()),
  ArrowRight: (event) => stepLines(event.shiftKey ? 100 : 1),
  ArrowLeft: (event) => stepLines(event.shiftKey ? -100 : -1),
  Home: () => { halt(); standAt(0); },
  End: () => { halt(); standAt(player.t.count - 1); },
  PageUp: () => choose(Math.max(player.number - 1, 0)),
  PageDown: () => choose(Math.min(player.number + 1, plan.reels.length - 1)),
  "+": () => zoomPlan(1.3), "=": () => zoomPlan(1.3), "-": () => zoomPlan(1 / 1.3), "−": () => zoomPlan(1 / 1.3), 0: refit,
  a: () => panPlan(60, 0), d: () => panPlan(-60, 0), w: () => panPlan(0, 60), s: () => panPlan(0, -60),
};

function keys(event) {
  const kind = event.target.type, typing = event.target.tagName === "SELECT" || kind === "text";
  if (event.altKey || event.ctrlKey || event.metaKey || typing || !player.t) return;
  const mine = event.target.id === "when" || event.target.tagName === "CANVAS" || event.target === document.body;
  const own = kind === "radio" || kind === "range" ? /^(Arrow|Home|End|Page)/ : /^ $/;
  if (!mine && own.test(event.key)) return;
  const act = KEYS[event.key];
  if (!act) return;
  event.preventDefault();
  act(event);
}

function wire() {
  for (const button of document.querySelectorAll("[data-reel]")) {
    button.addEventListener("click", () => choose(Number(button.dataset.reel)));
  }
  for (const button of document.querySelectorAll("[data-solid]")) {
    button.addEventListener("click", () => showRelief(button.dataset.solid).catch(trouble));
  }
  const press = { play: " ", first: "Home", last: "End", back: "ArrowLeft", next: "ArrowRight", closer: "+", farther: "-", fit: "0" };
  for (const [id, key] of Object.entries(press)) byId(id).addEventListener("click", () => player.t && KEYS[key]({}));
  const when = byId("when");
  when.addEventListener("pointerdown", () => { player.dragging = true; halt(); });
  when.addEventListener("pointerup", () => { player.dragging = false; });
  when.addEventListener("input", () => { halt(); stand(spotAt(player.t, Number(when.value))); });
  byId("goto").addEventListener("change", (event) => {
    const line = parseInt(event.target.value, 10);
    if (line > 0) { halt(); standAt(pieceOfLine(player.t, line)); }
  });
  for (const name of ["x", "y"]) {
    const slider = byId(`cut-${name}`), half = plan.size[name === "x" ? 0 : 1] / 2;
    Object.assign(slider, { min: -half, max: half });
    slider.addEventListener("input", () => {
      byId("follow").checked = false;
      player.cut = { ...player.cut, [name]: Number(slider.value) };
      draw();
    });
  }
  for (const box of document.querySelectorAll("input[type=checkbox], input[name=state], #tall")) box.addEventListener("change", draw);
  document.addEventListener("keydown", keys);
  window.addEventListener("hashchange", fromAddress);
  new ResizeObserver(() => { planSize(); draw(); }).observe(byId("plan-view"));
  pointers();
  try {
    beginRelief();
  } catch (error) {
    // All else of the page goes without it.
    byId("relief-trouble").hidden = false;
    byId("relief").hidden = true;
    console.warn(error.message);
  }
}

// preview.html#03-A-groove.nc:210 opens that file at that line.
function fromAddress() {
  const [file, line] = decodeURIComponent(location.hash.slice(1)).split(":");
  const found = plan.reels.findIndex((reel) => reel.file === file || reel.file === `${file}.nc`);
  // Without an address it opens on the groove, the cut that all others hang on.
  const groove = plan.reels.findIndex((reel) => reel.name === "groove");
  choose(Math.max(found < 0 ? groove : found, 0), found < 0 ? 0 : parseInt(line, 10) || 0).catch(trouble);
}

function trouble(error) {
  const words = typeof DecompressionStream === "undefined" ? "This browser is too old to play the files: it cannot unpack them." : `This page does not work here: ${error.message}`;
  byId("trouble").textContent = words;
  byId("trouble").hidden = false;
}

if (plan.reels.length) {
  wire();
  planSize();
  fromAddress();
}
