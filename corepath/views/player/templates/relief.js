// The blank in 3-D, as it lies on the bed and as it is now: its columns as a surface (WebGL 2). What is board, rim or
// casting is painted from their true lines, so that edges are smooth however coarse the columns are.
const MOST_CORNERS = 140000, WIDE_PAINT = 4096, SIDES = 40;
const START = { turn: -0.3, tilt: 0.9, x: 0, y: 0, away: 1 };
const relief = {
  canvas: byId("relief"), gl: null, wanted: "file", view: { ...START }, seen: false, drawn: "", solid: null,
  columns: null, grid: null, paint: null, lathe: null,
};

const SURFACE_VERTEX = `#version 300 es
precision highp float; precision highp int; precision highp isampler2D;
uniform mat4 camera; uniform ivec3 lattice; uniform ivec2 cells; uniform vec4 at; uniform vec2 rim;
uniform float step, tall;
uniform isampler2D columns;
out vec3 place; out float gone;
void main() {
  ivec2 g = ivec2(gl_VertexID % cells.x, gl_VertexID / cells.x) - 1;
  ivec2 c = clamp(g * lattice.z, ivec2(0), lattice.xy - 1);
  vec2 xy = at.xy + at.zw * vec2(c);
  bool outside = false;
  for (int k = 0; k < 2; k++) {
    if (g[k] < 0) { xy[k] = -rim[k]; outside = true; }
    if (g[k] == cells[k] - 2) { xy[k] = rim[k]; outside = true; }
  }
  ivec4 column = texelFetch(columns, c, 0);
  gone = column.r == -32768 ? 1.0 : 0.0;
  float z = gone > 0.0 ? 0.0 : float(outside ? column.b : column.r) * step;
  place = vec3(xy, z);
  gl_Position = camera * vec4(xy, z * tall, 1.0);
}`;

const SURFACE_FRAGMENT = `#version 300 es
precision highp float; precision highp int; precision highp isampler2D;
uniform ivec3 lattice; uniform vec4 at; uniform vec2 rim; uniform float tall;
uniform isampler2D columns; uniform sampler2D paint;
in vec3 place; in float gone;
out vec4 colour;
void main() {
  if (gone > 0.5) discard;
  vec3 shaped = vec3(place.xy, place.z * tall);
  vec3 normal = normalize(cross(dFdx(shaped), dFdy(shaped)));
  ivec2 c = ivec2(round((place.xy - at.xy) / at.zw));
  bool poured = false;
  for (int i = -2; i <= 2; i++) for (int j = -2; j <= 2; j++)
    poured = poured || texelFetch(columns, clamp(c + ivec2(i, j), ivec2(0), lattice.xy - 1), 0).g > 0;
  vec4 kind = texture(paint, place.xy / (2.0 * rim) + 0.5);
  vec3 wood = mix(vec3(0.83, 0.81, 0.77), vec3(0.72, 0.65, 0.53), kind.g);
  vec3 shown = mix(wood, vec3(0.09, 0.31, 0.34), poured ? kind.r : 0.0);
  shown = mix(shown, vec3(0.04, 0.17, 0.2), kind.b * 0.8);
  float light = 0.45 + 0.55 * abs(dot(normal, normalize(vec3(-0.35, -0.5, 0.8))));
  colour = vec4(shown * light, 1.0);
}`;

const CUTTER_VERTEX = `#version 300 es
precision highp float;
layout(location = 0) in vec3 corner;
uniform mat4 camera; uniform vec3 tip; uniform float tall;
out vec3 place;
void main() { place = corner; gl_Position = camera * vec4(corner.xy + tip.xy, (corner.z + tip.z) * tall, 1.0); }`;

const CUTTER_FRAGMENT = `#version 300 es
precision highp float;
in vec3 place;
out vec4 colour;
void main() {
  vec3 normal = normalize(cross(dFdx(place), dFdy(place)));
  colour = vec4(vec3(0.55, 0.6, 0.62) * (0.5 + 0.5 * abs(dot(normal, normalize(vec3(-0.35, -0.5, 0.8))))), 1.0);
}`;

function programOf(gl, vertex, fragment) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
    gl.attachShader(program, shader);
  }
  gl.linkProgram(program);
  const places = {};
  for (let k = 0; k < gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS); k++) {
    const { name } = gl.getActiveUniform(program, k);
    places[name] = gl.getUniformLocation(program, name);
  }
  return { program, places };
}

function beginRelief() {
  const r = relief, gl = r.canvas.getContext("webgl2", { antialias: true });
  if (!gl) throw new Error("no WebGL 2");
  Object.assign(r, {
    surface: programOf(gl, SURFACE_VERTEX, SURFACE_FRAGMENT), cutter: programOf(gl, CUTTER_VERTEX, CUTTER_FRAGMENT),
    heights: gl.createTexture(), colours: gl.createTexture(), faces: gl.createBuffer(), corners: gl.createBuffer(),
    empty: gl.createVertexArray(), turned: gl.createVertexArray(), gl,
  });
  gl.enable(gl.DEPTH_TEST);
  new IntersectionObserver((seen) => { r.seen = seen[0].isIntersecting; draw(); }).observe(r.canvas);
  reliefPointers();
}

// One frame, if anything is not as it was drawn: the blank, the eye, or the cutter.
function paintRelief(state) {
  const r = relief;
  if (!r.gl || !r.seen) return;
  const solid = r.wanted === "file" ? null : r.solid, blank = solid || state.shown;
  if (!blank) return;
  const { canvas, gl, view } = r, ratio = Math.min(window.devicePixelRatio || 1, 2);
  const wide = Math.round(canvas.clientWidth * ratio), high = Math.round(canvas.clientHeight * ratio);
  const tip = solid || state.isAfter ? null : [state.tip.x, state.tip.y, state.tip.z].map((v, k) => v + state.t.reel.zero[k]);
  const tall = Number(byId("tall").value), reel = solid ? solid.reel : state.t.reel;
  const drawn = JSON.stringify([wide, high, view, tip, tall, r.wanted, reel.file, state.isAfter, state.isRunning, blank.version]);
  if (drawn === r.drawn) return;
  r.drawn = drawn;
  if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, { width: wide, height: high });
  loadColumns(r, blank);
  loadPaint(r, reel);
  gl.viewport(0, 0, wide, high);
  gl.clearColor(1, 1, 1, 1);
  gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
  const camera = cameraOf(view, wide / high);
  drawSurface(r, blank, camera, tall);
  if (tip) drawCutter(r, state.t.reel.cutter, camera, tip, tall);
}

// Height, whether casting lies on top, and the lowest solid of each column, as whole numbers.
function loadColumns(r, s) {
  const { gl } = r, key = `${s.version}`;
  gl.activeTexture(gl.TEXTURE0);
  gl.bindTexture(gl.TEXTURE_2D, r.heights);
  if (r.columns && r.columns.of === s && r.columns.key === key) return;
  const data = new Int16Array(4 * s.top.length);
  for (let i = 0; i < s.top.length; i++) {
    const top = s.top[i];
    data[4 * i] = top;
    data[4 * i + 1] = s.ct[i] === top && s.ct[i] > s.cb[i] ? 1 : 0;
    data[4 * i + 2] = s.wt[i] !== NONE && (s.ct[i] === NONE || s.wb[i] < s.cb[i]) ? s.wb[i] : s.cb[i];
  }
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA16I, s.nx, s.ny, 0, gl.RGBA_INTEGER, gl.SHORT, data);
  for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, name, gl.NEAREST);
  r.columns = { of: s, key };
  if (!r.grid || r.grid.nx !== s.nx || r.grid.ny !== s.ny) r.grid = gridOf(r, s);
}

// Triangles over every n-th column, and one row more on each side that comes down at the rim.
function gridOf(r, s) {
  const { gl } = r, every = Math.max(Math.ceil(Math.sqrt((s.nx * s.ny) / MOST_CORNERS)), 1);
  const wide = Math.ceil((s.nx - 1) / every) + 3, high = Math.ceil((s.ny - 1) / every) + 3;
  const faces = new Uint32Array(6 * (wide - 1) * (high - 1));
  let n = 0;
  for (let y = 0; y < high - 1; y++) for (let x = 0; x < wide - 1; x++) {
    const a = y * wide + x;
    for (const corner of [a, a + 1, a + wide, a + 1, a + wide + 1, a + wide]) faces[n++] = corner;
  }
  gl.bindVertexArray(r.empty);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, r.faces);
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, faces, gl.STATIC_DRAW);
  return { nx: s.nx, ny: s.ny, every, wide, high, count: n };
}

// Casting in red, the board in green, its outline in blue, each filled by the browser with smooth edges.
function loadPaint(r, reel) {
  const { gl } = r;
  gl.activeTexture(gl.TEXTURE1);
  gl.bindTexture(gl.TEXTURE_2D, r.colours);
  if (r.paint === reel.file) return;
  const canvas = document.createElement("canvas"), [long, wide] = plan.size;
  const most = Math.min(WIDE_PAINT, gl.getParameter(gl.MAX_TEXTURE_SIZE)), scale = most / Math.max(long, wide);
  canvas.width = Math.max(Math.round(long * scale), 1); canvas.height = Math.max(Math.round(wide * scale), 1);
  const c = canvas.getContext("2d");
  c.setTransform(canvas.width / long, 0, 0, canvas.height / wide, canvas.width / 2, canvas.height / 2);
  c.globalCompositeOperation = "lighter";
  const linesOf = (kind) => {
    const path = new Path2D();
    for (const shape of reel.shapes) if (shape.kind === kind) {
      path.moveTo(shape.points[0], shape.points[1]);
      for (let i = 2; i < shape.points.length; i += 2) path.lineTo(shape.points[i], shape.points[i + 1]);
      path.closePath();
    }
    return path;
  };
  const outline = linesOf("outline");
  c.fillStyle = "#f00"; c.fill(linesOf("casting"), "evenodd");
  c.fillStyle = "#0f0"; c.fill(outline, "evenodd");
  c.strokeStyle = "#00f"; c.lineWidth = Math.max(long / 900, 0.4); c.stroke(outline);
  gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA, gl.RGBA, gl.UNSIGNED_BYTE, canvas);
  gl.generateMipmap(gl.TEXTURE_2D);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.LINEAR_MIPMAP_LINEAR);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE);
  gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE);
  r.paint = reel.file;
}

function drawSurface(r, s, camera, tall) {
  const { gl, surface, grid } = r, { places } = surface;
  gl.useProgram(surface.program);
  gl.bindVertexArray(r.empty);
  gl.uniformMatrix4fv(places.camera, false, camera);
  gl.uniform3i(places.lattice, s.nx, s.ny, grid.every);
  gl.uniform2i(places.cells, grid.wide, grid.high);
  gl.uniform4f(places.at, s.x0, s.y0, s.px, s.py);
  gl.uniform2f(places.rim, plan.size[0] / 2, plan.size[1] / 2);
  gl.uniform1f(places.step, plan.steps.height);
  gl.uniform1f(places.tall, tall);
  gl.uniform1i(places.columns, 0);
  gl.uniform1i(places.paint, 1);
  gl.drawElements(gl.TRIANGLES, grid.count, gl.UNSIGNED_INT, 0);
}

// The cutter as a body of revolution: its end as it is shaped, then its edges.
function drawCutter(r, cutter, camera, tip, tall) {
  const { gl } = r, { places } = r.cutter;
  gl.bindVertexArray(r.turned);
  if (r.lathe !== cutter) {
    const last = cutter.end.length - 1, rows = [];
    for (let k = 0; k <= last; k += 8) rows.push([(cutter.radius * k) / last, cutter.end[k]]);
    rows.push([cutter.radius, Math.max(cutter.cutting, cutter.end[last])], [0, Math.max(cutter.cutting, cutter.end[last])]);
    const corners = [], corner = (row, side) => {
      const angle = (2 * Math.PI * side) / SIDES;
      corners.push(row[0] * Math.cos(angle), row[0] * Math.sin(angle), row[1]);
    };
    for (let k = 1; k < rows.length; k++) for (let side = 0; side < SIDES; side++) {
      for (const [row, on] of [[k - 1, 0], [k - 1, 1], [k, 0], [k - 1, 1], [k, 1], [k, 0]]) corner(rows[row], side + on);
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, r.corners);
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array(corners), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 0, 0);
    r.lathe = cutter;
    r.turns = corners.length / 3;
  }
  gl.useProgram(r.cutter.program);
  gl.uniformMatrix4fv(places.camera, false, camera);
  gl.uniform3f(places.tip, ...tip);
  gl.uniform1f(places.tall, tall);
  gl.drawArrays(gl.TRIANGLES, 0, r.turns);
}

// Perspective times look-at: the eye turns about a place on the bed (columns of the matrix one after another).
function cameraOf(view, aspect) {
  const [long, wide] = plan.size, open = 0.5236, far = Math.hypot(long, wide);
  const distance = ((Math.max(long / Math.max(aspect, 0.3), wide) * 0.7) / Math.tan(open / 2)) * view.away;
  const ct = Math.cos(view.tilt), st = Math.sin(view.tilt), cr = Math.cos(view.turn), sr = Math.sin(view.turn);
  // Axes of the picture: to the right, up, and towards the eye.
  const right = [cr, sr, 0], up = [-sr * ct, cr * ct, st], back = [sr * st, -cr * st, ct];
  const eye = [view.x + back[0] * distance, view.y + back[1] * distance, back[2] * distance];
  const near = Math.max(distance - far, distance / 50), beyond = distance + far, f = 1 / Math.tan(open / 2);
  const dot = (a) => -(a[0] * eye[0] + a[1] * eye[1] + a[2] * eye[2]);
  const rows = [[...right, dot(right)], [...up, dot(up)], [...back, dot(back)]];
  const a = (beyond + near) / (near - beyond), b = (2 * beyond * near) / (near - beyond), matrix = new Float32Array(16);
  for (let k = 0; k < 4; k++) {
    matrix[4 * k] = (f / aspect) * rows[0][k];
    matrix[4 * k + 1] = f * rows[1][k];
    matrix[4 * k + 2] = a * rows[2][k] + (k === 3 ? b : 0);
    matrix[4 * k + 3] = -rows[2][k];
  }
  return matrix;
}

function turnRelief(turn, tilt) {
  const v = relief.view;
  relief.view = { ...v, turn: v.turn + turn, tilt: Math.min(Math.max(v.tilt + tilt, 0), 1.5) };
  draw();
}

function nearRelief(factor) {
  relief.view = { ...relief.view, away: Math.min(Math.max(relief.view.away * factor, 0.03), 3) };
  draw();
}

// Moves what is seen by pixels, across the bed.
function shiftRelief(dx, dy) {
  const v = relief.view, scale = (1.3 * Math.max(...plan.size) * v.away) / Math.max(relief.canvas.clientWidth, 1);
  const ct = Math.max(Math.cos(v.tilt), 0.3), cr = Math.cos(v.turn), sr = Math.sin(v.turn);
  const [along, away] = [-dx * scale, (dy * scale) / ct];
  relief.view = { ...v, x: v.x + cr * along - sr * away, y: v.y + sr * along + cr * away };
  draw();
}

function reliefPointers() {
  const { canvas } = relief, held = new Map();
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("pointerdown", (event) => {
    held.set(event.pointerId, { x: event.clientX, y: event.clientY });
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    const was = held.get(event.pointerId), at = { x: event.clientX, y: event.clientY };
    if (!was) return;
    const dx = at.x - was.x, dy = at.y - was.y, other = [...held].find(([id]) => id !== event.pointerId);
    if (other) {
      const o = other[1];
      nearRelief(Math.max(Math.hypot(was.x - o.x, was.y - o.y), 1) / Math.max(Math.hypot(at.x - o.x, at.y - o.y), 1));
      shiftRelief(dx / 2, dy / 2);
    } else if (event.shiftKey || event.buttons & 2) shiftRelief(dx, dy);
    else turnRelief(-dx * 0.008, -dy * 0.008);
    held.set(event.pointerId, at);
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (event) => held.delete(event.pointerId));
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas && !event.ctrlKey) return;
    event.preventDefault();
    nearRelief(Math.exp(event.deltaY * (event.deltaMode ? 0.05 : 0.0016)));
  }, { passive: false });
  const acts = {
    ArrowLeft: () => turnRelief(0.1, 0), ArrowRight: () => turnRelief(-0.1, 0), ArrowUp: () => turnRelief(0, -0.1),
    ArrowDown: () => turnRelief(0, 0.1), "+": () => nearRelief(1 / 1.3), "=": () => nearRelief(1 / 1.3),
    "-": () => nearRelief(1.3), "−": () => nearRelief(1.3), 0: () => { relief.view = { ...START }; draw(); },
    a: () => shiftRelief(40, 0), d: () => shiftRelief(-40, 0), w: () => shiftRelief(0, 40), s: () => shiftRelief(0, -40),
  };
  canvas.addEventListener("keydown", (event) => {
    const act = acts[event.key];
    if (!act || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    event.stopPropagation();
    act();
  });
}

// The blank as a set-up leaves it, or as the file runs; what was left can be saved as a body.
async function showRelief(wanted) {
  const r = relief, held = plan.solids[wanted];
  r.solid = held ? { ...(await blankState(held.state)), reel: plan.reels.filter((reel) => reel.setup === wanted).pop() } : null;
  r.wanted = wanted;
  for (const button of document.querySelectorAll("[data-solid]")) {
    button.setAttribute("aria-pressed", String(button.dataset.solid === wanted));
  }
  const save = byId("save");
  if (save.href) URL.revokeObjectURL(save.href);
  save.hidden = !held;
  if (held) {
    save.href = URL.createObjectURL(new Blob([await inflate(held.glb)], { type: "model/gltf-binary" }));
    save.download = `core-after-${wanted}.glb`;
  }
  r.grid = r.paint = r.columns = null;
  draw();
}
