// The plan made from here: how far it is, what came out, its pages.
import { at, fill, made } from "./parts.js";

let digest = "", last = null;

export function start(send) {
  at("plan-now").addEventListener("click", () => send({ kind: "plan" }));
  at("plan-stop").addEventListener("click", () => send({ kind: "stop" }));
}

export function show(it) {
  last = it;
  const running = it.state === "running";
  at("planned").hidden = false;
  at("planning").hidden = !running;
  at("plan-now").disabled = running;
  at("share").value = it.share ?? 0;
  at("planned-says").dataset.state = it.state;
  tell();
  if (running) return;
  const link = (name) => made("li", {}, made("a", { href: `plan/${name}`, target: "_blank", rel: "noopener" }, names[name] ?? name));
  at("planned-pages").replaceChildren(...(it.pages ?? []).map(link), ...(it.findings ?? []).map((one) => made("li", {}, one)));
  at("planned-files").replaceChildren(...[...(it.drawings ?? []), ...(it.files ?? [])].map(link));
  at("planned-files").parentElement.hidden = !it.files?.length && !it.drawings?.length;
}

const names = { "short.html": "One page a set-up", "sheet.html": "Full set-up sheet", "preview.html": "Play the files" };

// The code of the job as it is now: a plan of another is of an earlier job.
export function job(now) { digest = now; tell(); }

function tell() {
  if (!last) return;
  const old = last.plan && digest && last.plan !== digest ? ` The job has changed since: plan ${last.plan} is of before.` : "";
  fill("planned-says", `${last.says}.${last.plan ? ` Plan ${last.plan}.` : ""}${old}`);
}
