// Whether the core comes out, how likely, what is tightest, what would fix it.
import { at, fill, made } from "./parts.js";

let send = () => {};

export function start(sender) { send = sender; }

export function show(it) {
  at("faults").hidden = true;
  at("answer").dataset.answer = it.answer;
  fill("answer", it.words + (it.wrong.length ? `: ${it.wrong.join(", ")}` : ""));
  fill("odds", it.draft ? "Odds follow once it is written" : "Odds …");
  at("odds").title = "";
  stale(false);
  at("tightest").replaceChildren(...it.tightest.map((one) => made("li", { title: one.says },
    made("span", { class: one.verdict }, [one.id, one.where, one.verdict].filter(Boolean).join(" ")),
    made("span", { class: "figure" }, `${one.value} ${one.unit}`),
    made("span", { class: "figure" }, `worst ${one.worst}`),
    made("span", { class: "by" }, one.driven_by))));
  at("fixes").querySelector("ol").replaceChildren();
  fill("fixes-says", it.answer === "ready" ? "All checks hold: there is nothing to fix." : "Looking for fixes …");
}

export function odds(it) {
  at("odds").title = it.spoilers.join("\n");
  fill("odds", it.words + (it.spoilers.length ? `. What spoils the others: ${it.spoilers.join(", ")}` : ""));
}

export function fixes(it) {
  fill("fixes-says", it.found.length ? "Each was tried, the cheapest first:" : it.nearest || "No fix was found that keeps all limits.");
  at("fixes").querySelector("ol").replaceChildren(...it.found.map((one) => made("li", {}, one.says, " ",
    one.measure ? "" : made("button", { onclick: () => send({ kind: "set", values: one.values }) }, "Apply"))));
}

// The job as it is now has faults: what was worked out before stays in sight, greyed.
export function faults(it) {
  arrived();
  if (it.draft) {
    at("answer").dataset.answer = "no";
    fill("answer", `This cannot be: ${[it.faults[0].key, it.faults[0].says].filter(Boolean).join(": ")}`);
    return;
  }
  if (!at("text").hidden) return;  // a file that cannot be read tells its faults itself
  list(`${it.faults.length === 1 ? "This has" : "These have"} to be put right first`, it.faults);
  stale(true);
}

export function broken(it) {
  const text = at("text");
  text.hidden = !it.broken.length;
  if (!it.broken.length) return;
  list("The file cannot be read as it is: put this right in an editor, and save it", it.broken);
  const lines = new Set(it.broken.map((one) => one.line));
  text.replaceChildren(...it.text.split("\n").flatMap((line, k) =>
    [lines.has(k + 1) ? made("mark", {}, line || " ") : line, "\n"]));
  text.querySelector("mark")?.scrollIntoView({ block: "center" });
  stale(true);
}

function list(head, all) {
  at("faults").hidden = false;
  fill("faults-head", head);
  at("faults").querySelector("ul").replaceChildren(...all.map((one) => made("li", {},
    [one.line ? `line ${one.line}` : "", one.key, one.says].filter(Boolean).join(": ") + (one.value ? ` (got ${one.value})` : "")
    + (one.allowed ? `; allowed: ${one.allowed}` : ""))));
}

export function stale(is) {
  arrived();
  for (const id of ["verdict", "tightest", "board"]) at(id).classList.toggle("stale", is);
}

// A change is on its way: the last verdict is greyed until the next one is there, unless that comes at once.
let late = 0;

export function waits() {
  if (!late) late = setTimeout(() => { for (const id of ["verdict", "tightest"]) at(id).classList.add("stale"); }, 120);
}

export function arrived() {
  clearTimeout(late);
  late = 0;
  for (const id of ["verdict", "tightest"]) at(id).classList.remove("stale");
}
