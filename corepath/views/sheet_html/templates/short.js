// Ticks and figures are kept in this browser under the plan's digest, where the full sheet keeps its own.
(() => {
  const read = () => { try { return JSON.parse(localStorage.getItem(store)) || {}; } catch { return held; } };
  const put = (key, value) => {
    held = { ...read(), [key]: value };
    try { localStorage.setItem(store, JSON.stringify(held)); } catch { /* private window: not kept */ }
  };
  let held = {};
  held = read();
  const all = (query) => [...document.querySelectorAll(query)];
  const boxes = all("input[data-figure]"), ticks = all("input[data-tick]");
  const typed = (key) => (typeof held[key] === "string" ? held[key].trim() : "");
  const figure = (key) => typed(key).replace(",", ".").replace("−", "-");
  const isNumber = (text) => /^-?(\d+\.?\d*|\.\d+)$/.test(text);
  const ticked = (key) => held[key] === true || ticks.some((one) => one.dataset.tick === key && one.disabled);
  const numbers = new Set();
  for (const line of lines) for (const option of line.options) for (const piece of option)
    if (piece.key && piece.number) numbers.add(piece.key);

  const show = () => {
    for (const box of boxes) {
      if (box !== document.activeElement) box.value = typeof held[box.dataset.figure] === "string" ? held[box.dataset.figure] : "";
      const text = figure(box.dataset.figure);
      box.classList.toggle("wrong", text !== "" && numbers.has(box.dataset.figure) && !isNumber(text));
    }
    for (const tick of ticks) if (!tick.disabled) tick.checked = held[tick.dataset.tick] === true;
    finish();
  };
  for (const box of boxes) box.addEventListener("input", () => { put(box.dataset.figure, box.value); show(); });
  for (const tick of ticks) tick.addEventListener("change", () => { put(tick.dataset.tick, tick.checked); show(); });
  window.addEventListener("storage", () => { held = read(); show(); });

  // What is handed back: options that have their figures, in the form that `record --from` reads.
  const quoted = (text) => `'${text.replaceAll("'", "'\"'\"'")}'`;
  const word = (piece) => piece.number ? figure(piece.key) : /^[\w.-]+$/.test(typed(piece.key)) ? typed(piece.key) : quoted(typed(piece.key));
  const made = () => {
    const found = [], missing = [], sent = new Set(Array.isArray(held["short-sent"]) ? held["short-sent"] : []);
    for (const line of lines) {
      if (line.ticks.length && !line.ticks.every(ticked)) continue;
      const own = line.options.some((option) => option.some((piece) => piece.key));
      const options = [];
      let some = false;
      for (const option of line.options) {
        const slots = option.filter((piece) => piece.key);
        const full = slots.filter((piece) => typed(piece.key) !== "");
        for (const piece of full) if (piece.number && !isNumber(figure(piece.key))) missing.push(`no number: ${piece.label}, ${typed(piece.key)}`);
        if (full.length && full.length < slots.length)
          missing.push(`half filled in: ${option[0].trim()}`);
        const good = full.length === slots.length && full.every((piece) => !piece.number || isNumber(figure(piece.key)));
        const text = option.map((piece) => (piece.key ? word(piece) : piece)).join("").trim();
        if (!good || (slots.length && sent.has(text)) || (!own && sent.has(text))) continue;
        options.push(text);
        some = some || slots.length > 0 || !own;
      }
      if (some) found.push(options);
    }
    return { found, missing };
  };
  // After the skim a thickness means another thing, and a note is kept with all figures beside it:
  // both need a command of their own.
  const oneLine = (found) => {
    const own = (options) => options.some((one) => one === "--after-skim" || one.startsWith("--note "));
    const after = found.filter(own), first = found.filter((options) => !own(options));
    return [first.flat(), ...after].filter((options) => options.length)
      .map((options) => `${command} ${options.join(" ")}`).join(" && ");
  };
  const text = (found) => found.map((options) => `${options.join(" ")}\n`).join("");
  const at = (id) => document.getElementById(id);
  const finish = () => {
    const { found, missing } = made();
    at("line").textContent = found.length ? oneLine(found) : "Nothing to record yet.";
    at("figures").textContent = text(found);
    at("missing").textContent = missing.join("; ");
    at("copy").disabled = at("save").disabled = at("sent").disabled = !found.length;
  };
  at("name").textContent = figures;
  at("from").textContent = `${command} --from ${/^[\w.-]+$/.test(figures) ? figures : quoted(figures)}`;
  const told = (button, words) => {
    const before = button.textContent;
    button.textContent = words;
    setTimeout(() => { button.textContent = before; }, 2000);
  };
  at("copy").addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(at("line").textContent);
      told(at("copy"), "copied");
    } catch {
      getSelection().selectAllChildren(at("line"));
      told(at("copy"), "marked: copy it");
    }
  });
  at("save").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([at("figures").textContent], { type: "text/plain" }));
    link.download = figures;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    told(at("save"), "saved");
  });
  at("sent").addEventListener("click", () => {
    if (!window.confirm("Leave these figures out from now on? They must be in the record.")) return;
    put("short-sent", [...(held["short-sent"] || []), ...made().found.flat().filter((one) => one !== "--after-skim")]);
    show();
  });

  // One card at a time.
  const cards = all(".card"), jump = at("jump");
  cards.forEach((card, k) => {
    const option = document.createElement("option");
    option.value = k;
    option.textContent = `${k + 1} of ${cards.length}: ${card.querySelector(".mark").textContent} ${card.querySelector("h2").textContent.trim().slice(0, 60)}`;
    jump.append(option);
  });
  let step = 0;
  const go = (k, focus = true) => {
    step = Math.min(Math.max(k, 0), cards.length - 1);
    cards.forEach((card, n) => card.classList.toggle("current", n === step));
    jump.value = step;
    at("back").disabled = step === 0;
    at("next").disabled = step === cards.length - 1;
    try { localStorage.setItem(`${store}:step`, cards[step].id); } catch { /* not kept */ }
    if (focus) window.scrollTo(0, 0);
  };
  at("back").addEventListener("click", () => go(step - 1));
  at("next").addEventListener("click", () => go(step + 1));
  jump.addEventListener("change", () => go(Number(jump.value)));
  document.addEventListener("keydown", (event) => {
    if (event.target.matches("input, select, textarea") || !document.body.classList.contains("show-steps")) return;
    if (event.key === "ArrowRight") go(step + 1);
    if (event.key === "ArrowLeft") go(step - 1);
  });
  for (const button of all("button.stop")) {
    button.addEventListener("click", () => {
      put("stop", button.dataset.stop);
      const tick = button.closest(".card").querySelector("[data-tick]");
      if (tick) put(tick.dataset.tick, true);
      show();
      go(cards.findLastIndex((card) => "skim" in card.dataset) + 1);
    });
  }
  const view = (name) => {
    document.body.classList.toggle("show-steps", name === "steps");
    document.body.classList.toggle("show-pages", name !== "steps");
    for (const button of all("[data-view]")) button.setAttribute("aria-pressed", String(button.dataset.view === name));
  };
  for (const button of all("[data-view]")) button.addEventListener("click", () => view(button.dataset.view));
  at("print").addEventListener("click", () => window.print());
  let last = null;
  try { last = localStorage.getItem(`${store}:step`); } catch { /* none */ }
  go(Math.max(0, cards.findIndex((card) => card.id === last)), false);
  view(window.matchMedia("(max-width: 800px)").matches ? "steps" : "pages");
  show();
})();
