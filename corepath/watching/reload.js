// Put into the page by `corepath plan --watch`; the file on disk does not hold it.
(() => {
  "use strict";
  if (window.top !== window) return; // the page around it sees to it
  const { number, events } = document.currentScript.dataset;
  const bar = document.createElement("div");
  bar.id = "corepath-watch";
  bar.setAttribute("role", "status");
  bar.style.cssText = "position:fixed;left:0;right:0;bottom:0;z-index:99999;max-height:45vh;overflow:auto;margin:0;" +
    "padding:.6em 1em;background:#fff;color:#111;border-top:3px solid #111;font:14px/1.4 sans-serif";
  const quiet = document.createElement("style");
  quiet.textContent = "@media print { #corepath-watch { display: none !important; } }";
  document.head.append(quiet);
  const say = (title, lines) => {
    bar.replaceChildren();
    if (!title) { bar.remove(); return; }
    const head = document.createElement("strong");
    head.textContent = title;
    bar.append(head);
    if (lines.length) {
      const text = document.createElement("pre");
      text.style.cssText = "margin:.4em 0 0;white-space:pre-wrap;font:13px/1.4 monospace";
      text.textContent = lines.join("\n\n");
      bar.append(text);
    }
    document.body.append(bar);
  };
  const source = new EventSource(events);
  source.onmessage = (message) => {
    const told = JSON.parse(message.data);
    if (told.number > Number(number)) { source.close(); location.reload(); return; }
    if (told.faults.length) {
      const shown = told.plan ? `what is shown is plan ${told.plan}, made before` : "what is shown was made before";
      say(`The job has faults; ${shown}.${told.busy ? " Planning again …" : ""}`, told.faults);
    } else {
      say(told.busy ? "Planning again …" : "", []);
    }
  };
  source.onerror = () => say("corepath no longer watches the job; this page may be out of date.", []);
})();
