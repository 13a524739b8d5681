// Every key with its value, unit, range and reference text. A value is sent when it is left, or with Enter.
import { at, made } from "./parts.js";

let send = () => {};
let job = { tables: [] };

export function start(sender) {
  send = sender;
  at("find").addEventListener("input", find);
}

export function show(now) {
  const same = now.tables.map((one) => one.title).join() === job.tables.map((one) => one.title).join();
  job = now;
  if (same) for (const of of job.tables) for (const one of of.keys) update(one);
  else rebuild();
}

function rebuild() {
  const open = new Set([...at("tables").querySelectorAll("details[open]")].map((one) => one.dataset.key));
  if (!at("tables").children.length) for (const key of ["board", "groove", "deck"]) open.add(key);
  at("tables").replaceChildren(...job.tables.map((of) => table(of, open.has(of.key))));
  at("add").replaceChildren(...["plug", "insert"].flatMap((name) => {
    const rows = job.tables.filter((of) => of.key.startsWith(`${name}[`));
    return rows.length ? [made("button", { onclick: () => add(name, rows) }, `Add ${name === "plug" ? "a plug" : "an insert"}`), " "] : [];
  }));
  find();
}

function table(of, open) {
  const of_row = of.there && !of.keys.some((one) => one.of_shop) && /\[\d+\]$/.test(of.key);
  return made("details", { "data-key": of.key, open },
    made("summary", {}, of.title, of.there ? "" : made("span", { class: "note" }, "  not in the file: defaults hold")),
    ...of.keys.filter(first).map(key), rest(of),
    of_row ? made("button", { onclick: () => send({ kind: "remove", key: of.key }) }, `Take ${of.title} out`) : "");
}

// One more like the last one, beside it towards the middle: it is dragged from there.
function add(table, rows) {
  const last = Object.fromEntries(rows.at(-1).keys.filter((one) => one.there).map((one) => [one.name, one.text]));
  const names = new Set(job.tables.map((of) => of.title.split(" ")[1]));
  let number = 1;
  while (names.has(`${last.name.replace(/\d+$/, "")}${number}`)) number++;
  const [x, y] = (last.at ?? last.pattern ?? "[[0, 0]]").match(/-?\d+(\.\d+)?/g).map(Number);
  const step = 40 / job.scale;
  const { at: _, pattern, mirror, ...same } = last;
  send({ kind: "add", table, values: { ...same, name: `${last.name.replace(/\d+$/, "")}${number}`, at: `[[${+(x - Math.sign(x || 1) * step).toFixed(3)}, ${y}]]` } });
}

// What the file has, or must have, comes first; the rest waits behind one line.
const first = (one) => one.there || one.required;

function rest(of) {
  const others = of.keys.filter((one) => !first(one));
  if (!others.length) return "";
  if (others.length === of.keys.length) return made("div", {}, ...others.map(key));
  return made("details", { class: "more" }, made("summary", {}, `${others.length} more that may be given`), ...others.map(key));
}

const id = (key) => `key-${key}`;

function key(one) {
  return made("div", { class: "key", "data-name": one.key },
    made("label", { for: id(one.key) }, one.name), field(one), made("span", { class: "unit" }, one.unit),
    made("span", { class: "says", id: `says-${one.key}` }, says(one)),
    made("span", { class: "wrong", id: `wrong-${one.key}`, role: "alert" }));
}

function says(one) {
  if (one.of_shop) return `${one.says}. It stands in the shop file, for all its jobs: change it there`;
  const bounds = one.choices.length ? "" : `${one.wanted}; `;
  return `${one.says}. ${bounds}${one.required ? "needed" : one.default ? `${one.default} if left empty` : "may be left empty"}`;
}

function field(one) {
  const common = { id: id(one.key), "aria-describedby": `says-${one.key} wrong-${one.key}`, "data-key": one.key };
  const on = { onchange: (event) => commit(event.target), onkeydown: escaped };
  let made_;
  if (one.choices.length) {
    made_ = made("select", { ...common, onchange: on.onchange }, ...["", ...one.choices].map((choice) =>
      made("option", { value: choice }, choice || (one.required ? "" : one.default ? `${one.default} (default)` : "–"))));
  } else if (one.kind === "list" || one.kind === "table") {
    made_ = made("textarea", { ...common, ...on, spellcheck: "false", rows: Math.min(8, Math.max(1, one.text.split("\n").length, Math.ceil(one.text.length / 38))) });
  } else {
    made_ = made("input", { ...common, ...on, autocomplete: "off", spellcheck: "false", inputmode: one.kind.includes("number") ? "decimal" : "text", placeholder: one.default });
  }
  made_.disabled = one.of_shop;
  made_.value = made_.dataset.was = one.text;
  return made_;
}

function update(one) {
  const there = document.getElementById(id(one.key));
  if (!there) return;
  if (there.dataset.was !== one.text) {
    if (there !== document.activeElement || there.value === there.dataset.was || there.dataset.sent) there.value = one.text;
    there.dataset.was = one.text;
  }
  delete there.dataset.sent;
  wrong(one.key, "");
}

function commit(field) {
  if (field.value === field.dataset.was) return;
  field.dataset.sent = "yes";
  send({ kind: "set", values: { [field.dataset.key]: field.value } });
}

function escaped(event) {
  const field = event.target;
  if (event.key === "Escape") { field.value = field.dataset.was; wrong(field.dataset.key, ""); }
  if (event.key === "Enter" && (field.tagName === "INPUT" || event.ctrlKey)) { event.preventDefault(); commit(field); }
}

// What was not written: said at the key where it was typed, and for all to read.
export function refused(it) {
  const keys = Object.keys(it.values);
  const text = it.faults.map((one) => [keys.includes(one.key) ? "" : one.key, one.says].filter(Boolean).join(": ")
    + (one.allowed ? `; allowed: ${one.allowed}` : "")).join("\n");
  for (const key of keys) wrong(key, text);
  return text;
}

function wrong(key, text) {
  const there = document.getElementById(`wrong-${key}`);
  if (there) there.textContent = text;
  document.getElementById(id(key))?.setAttribute("aria-invalid", text ? "true" : "false");
}

export function open(key) {
  const field = document.getElementById(id(key));
  if (!field) return;
  for (let one = field.closest("details"); one; one = one.parentElement.closest("details")) one.open = true;
  field.scrollIntoView({ block: "center" });
  field.focus();
}

function find() {
  const words = at("find").value.trim().toLowerCase();
  for (const details of at("tables").children) {
    let any = false;
    for (const row of details.querySelectorAll(".key")) {
      const hit = !words || row.textContent.toLowerCase().includes(words) || row.dataset.name.toLowerCase().includes(words);
      row.hidden = !hit;
      any ||= hit;
    }
    details.hidden = !any;
    if (words && any) for (const one of [details, ...details.querySelectorAll(".more")]) one.open = true;
  }
}
