// Put into the pages of a plan while they are served; the files on disk do not hold it.
(() => {
  "use strict";
  if (window.top !== window) return; // the page around it sees to it
  const { number, toldAt } = document.currentScript.dataset;
  const bar = document.createElement("div");
  bar.id = "corepath-watch";
  bar.setAttribute("role", "status");
  bar.style.cssText = "position:fixed;left:0;right:0;bottom:0;z-index:99999;max-height:45vh;overflow:auto;margin:0;" +
    "padding:.6em 1em;background:#fff;color:#111;border-top:3px solid #111;font:14px/1.4 sans-serif";
  const quiet = document.createElement("style");
  quiet.textContent = "@media print { #corepath-watch { display: none !important; } }";
  document.head.append(quiet);
  let wrong = "";
  const say = (title, text) => {
    bar.replaceChildren();
    if (!title) { bar.remove(); return; }
    const head = document.createElement("strong");
    head.textContent = title;
    bar.append(head);
    if (text) {
      const more = document.createElement("pre");
      more.style.cssText = "margin:.4em 0 0;white-space:pre-wrap;font:13px/1.4 monospace";
      more.textContent = text;
      bar.append(more);
    }
    document.body.append(bar);
  };
  const address = new URL(toldAt, location.href.replace(/^http/, "ws"));
  const socket = new WebSocket(address);
  socket.onmessage = (event) => {
    const told = JSON.parse(event.data);
    const shown = told.last ? `what is shown is plan ${told.last}, made before` : "what is shown was made before";
    if (told.number > Number(number)) { socket.onclose = null; location.reload(); return; }
    // a plan that ended without a new one: faults, or it was stopped
    if (told.state === "failed") wrong = told.says;
    else if (told.state !== "running") wrong = "";
    if (wrong) say(`The job cannot be planned; ${shown}.${told.state === "running" ? " Planning again …" : ""}`, wrong);
    else say(told.state === "running" ? "Planning again …" : "", "");
  };
  socket.onclose = () => say("corepath no longer watches the job; this page may be out of date.", "");
})();
