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
  const ours = (name) => !job.tables.some((of) => of.key.startsWith(`${name}[`) && of.keys.some((one) => one.of_shop));
  at("add").replaceChildren(...Object.keys(job.begin ?? {}).filter(ours).flatMap((name) =>
    [made("button", { onclick: () => add(name) }, `Add ${/^[aeiou]/.test(name) ? "an" : "a"} ${name}`), " "]));
  find();
}

function table(of, open) {
  const of_row = of.there && !of.keys.some((one) => one.of_shop) && /\[\d+\]$/.test(of.key);
  return made("details", { "data-key": of.key, open },
    made("summary", {}, of.title, of.there ? "" : made("span", { class: "note" }, "  not in the file: defaults hold")),
    ...of.keys.filter(first).map(key), rest(of),
    of_row ? made("button", { onclick: () => send({ kind: "remove", key: of.key }) }, `Take ${of.title} out`) : "");
}

// One more like the last one, beside it towards the middle: it is dragged from there. Without a last one, a usual one.
function add(name) {
  const rows = job.tables.filter((of) => of.key.startsWith(`${name}[`));
  const there = rows.map((of) => Object.fromEntries(of.keys.filter((one) => one.there).map((one) => [one.name, one.text])));
  const { pattern, mirror, ...values } = there.at(-1) ?? job.begin[name];
  if (values.name !== undefined) {
    const names = new Set(job.tables.map((of) => of.title.split(" ")[1]));
    const stem = values.name.replace(/\d+$/, "");
    let number = 1;
    while (names.has(`${stem}${number}`)) number++;
    values.name = `${stem}${number}`;
  }
  if (values.number !== undefined) values.number = `${1 + Math.max(0, ...there.map((one) => Number(one.number) || 0))}`;
  const place = values.at ?? pattern;
  if (place && there.length) {
    const [x, y] = place.match(/-?\d+(\.\d+)?/g).map(Number);
    const beside = `[${+(x - Math.sign(x || 1) * 40 / job.scale).toFixed(3)}, ${y}]`;
    values.at = /^\s*\[\s*\[|[{]/.test(place) ? `[${beside}]` : beside;
  }
  send({ kind: "add", table: name, values });
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
    made("span", { class: "turn", id: `turns-${one.key}` }),
    made("span", { class: "wrong", id: `wrong-${one.key}`, role: "alert" }));
}

function says(one) {
  if (one.of_shop) return `${one.says}. It stands in the shop file, for all its jobs: change it there`;
  const bounds = one.choices.length ? "" : `${one.wanted}; `;
  return `${one.says}. ${bounds}${one.required ? "needed" : one.default ? `${one.default} if left empty` : "may be left empty"}`;
}

function field(one) {
  const common = { id: id(one.key), "aria-describedby": `says-${one.key} turns-${one.key} wrong-${one.key}`, "data-key": one.key };
  const on = { onchange: (event) => commit(event.target), onkeydown: escaped, onfocus: (event) => look(event.target) };
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
  forget(one.key);
}

// Another verdict or text: where it turns is looked for anew at the field that is at hand.
export function again() {
  const field = document.activeElement;
  if (field?.dataset?.key && at("tables").contains(field)) { forget(field.dataset.key); look(field); }
}

function commit(field) {
  if (field.value === field.dataset.was) return;
  field.dataset.sent = "yes";
  send({ kind: "set", values: { [field.dataset.key]: field.value } });
}

function escaped(event) {
  const field = event.target;
  if (event.key === "Escape") { field.value = field.dataset.was; wrong(field.dataset.key, ""); }
  if (event.key === "ArrowUp" || event.key === "ArrowDown") step(event);
  if (event.key === "Enter" && (field.tagName === "INPUT" || event.ctrlKey)) { event.preventDefault(); commit(field); }
}

// One in the last place that is typed: 1.2 goes by 0.1, 14 by 1.
const last = (text) => 10 ** -(text.trim().split(".")[1]?.length ?? 0);
const isNumber = (text) => /^-?\d+(\.\d+)?$/.test(text.trim());

function step(event) {
  const field = event.target;
  if (field.tagName !== "INPUT" || !isNumber(field.value)) return;
  event.preventDefault();
  const by = last(field.value) * (event.shiftKey ? 10 : 1) * (event.key === "ArrowUp" ? 1 : -1);
  field.value = (Number(field.value) + by).toFixed(field.value.trim().split(".")[1]?.length ?? 0);
}

// How far the number of a field may go before the verdict turns: looked for while the field is at hand.
function look(field) {
  if (field.tagName !== "INPUT" || !isNumber(field.dataset.was)) return;
  forget(field.dataset.key);
  send({ kind: "turn", ways: [{ key: field.dataset.key, now: Number(field.dataset.was), step: last(field.dataset.was) }] });
}

export function turn(it) {
  const note = document.getElementById(`turns-${it.key}`), field = document.getElementById(id(it.key));
  if (!note || field !== document.activeElement || it.now !== Number(field.dataset.was)) return;
  const was = Number(field.dataset.was), places = Math.max(0, Math.round(1 - Math.log10(last(field.dataset.was))));
  const becomes = it.answer === "faults" ? it.checks[0] : `${it.answer}, by ${it.checks.slice(0, 3).join(", ")}`;
  note.found = [...note.found ?? [], it].sort((one, other) => one.value - other.value);
  it.says = `${it.value > was ? "above" : "below"} ${Number(it.value.toFixed(places))} ${becomes}`;
  note.textContent = `The verdict turns: ${note.found.map((one) => one.says).join("; ")}`;
}

function forget(key) {
  const note = document.getElementById(`turns-${key}`);
  if (!note) return;
  note.textContent = "";
  note.found = [];
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
