// Messages come in, what they say goes to the part of the page that shows it.
import * as drag from "./drag.js";
import * as drawings from "./drawings.js";
import * as forms from "./forms.js";
import { at, fill, made } from "./parts.js";
import * as plan from "./plan.js";
import * as verdict from "./verdict.js";

const address = new URL("socket", location.href.replace(/^http/, "ws"));
const changes = new Set(["set", "remove", "insert", "add"]);
const works = new Set(["undo", "redo", "draft"]);
let socket, revision = 0;

// A change carries the revision that it was made from: what was changed outside since is asked about.
function send(message) {
  if (socket?.readyState !== WebSocket.OPEN) return;
  const writes = changes.has(message.kind);
  if (writes || message.kind === "undo" || message.kind === "redo") fill("state", "…");
  if (writes || works.has(message.kind)) verdict.waits();
  if (writes) message = { revision, ...message };
  socket.send(JSON.stringify(message));
}

const heard = {
  job(it) {
    document.title = `${it.file} – corepath edit`;
    fill("file", it.file);
    fill("state", it.outside ? "changed by another program: shown as it is now"
      : it.first ? `saved; as it was before: ${it.first}` : "");
    revision = it.revision;
    at("undo").disabled = !it.undo;
    at("redo").disabled = !it.redo;
    at("ask").hidden = true;
    forms.show(it);
    drag.job(it);
    drawings.job(it);
    verdict.broken(it);
    forms.again();
  },
  verdict(it) { verdict.show(it); drag.answered(); if (!it.draft) { plan.job(it.digest); forms.again(); } },
  plan: plan.show,
  turn(it) { drag.turn(it); forms.turn(it); },
  odds: verdict.odds,
  fixes: verdict.fixes,
  faults(it) { verdict.faults(it); drag.answered(); },
  drawings(it) { drawings.show(it.drawings); drag.show(it.handles); },
  cross(it) { drawings.cross(it.cross); drag.show(it.handles, "cross"); },
  refused(it) { verdict.arrived(); fill("state", `not written: ${forms.refused(it)}`); },
  ask(it) { verdict.arrived(); ask(it.change); },
};

// Both at once: nothing is written until one of the two is chosen.
function ask(change) {
  const keys = change.kind === "set" ? Object.keys(change.values).join(", ") : change.key ?? change.table;
  const mine = () => { at("ask").hidden = true; send({ ...change, revision }); };
  const theirs = () => { at("ask").hidden = true; fill("state", "your change was not written"); };
  at("ask").replaceChildren(
    made("p", { id: "ask-words" }, `Another program changed the file while you changed ${keys}. Yours is not written yet.`),
    made("button", { onclick: mine }, `Write my ${keys} into the file as it is now`), " ",
    made("button", { onclick: theirs }, "Leave the file as it is"));
  at("ask").hidden = false;
  at("ask").querySelector("button").focus();
}

function open() {
  socket = new WebSocket(address);
  socket.onopen = () => { at("gone").hidden = true; drawings.measure(true); };
  socket.onmessage = (event) => {
    const message = JSON.parse(event.data);
    heard[message.kind]?.(message);
  };
  socket.onclose = () => {
    at("gone").hidden = false;
    setTimeout(open, 1000);
  };
}

function key(event) {
  const typing = event.target.matches("input:not([type=range]), textarea");
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  const name = event.key.toLowerCase();
  if (name === "z" || name === "y") {
    event.preventDefault();
    send({ kind: name === "y" || event.shiftKey ? "redo" : "undo" });
  }
}

at("undo").addEventListener("click", () => send({ kind: "undo" }));
at("redo").addEventListener("click", () => send({ kind: "redo" }));
document.addEventListener("keydown", key);
for (const part of [drag, drawings, forms, plan, verdict]) part.start(send);
open();
