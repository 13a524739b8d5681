// Ticks and figures are kept in this browser under the plan's digest; another plan starts afresh.
(() => {
  const read = () => { try { return JSON.parse(localStorage.getItem(store)) || {}; } catch { return held; } };
  const keep = () => { try { localStorage.setItem(store, JSON.stringify(held)); } catch { /* private window: not kept */ } };
  let held = {};
  held = read();
  // The short sheet may be open beside this one: what it kept meanwhile stays.
  const put = (key, value) => { held = { ...read(), [key]: value }; keep(); };
  const ticks = [...document.querySelectorAll("input.tick")];
  const slots = [...document.querySelectorAll("input[data-slot]")];

  const show = (slot) => {
    const typed = slot.value.trim().replace(",", ".");
    for (const place of document.querySelectorAll(`[data-shows="${CSS.escape(slot.id)}"]`)) {
      place.textContent = typed || place.dataset.letter;
      place.classList.toggle("filled", typed !== "");
      leaveOut(place.closest("code"));
    }
  };
  // Once a figure stands in a command, options without theirs are left out of it.
  const leaveOut = (code) => {
    const begun = code.querySelector(".filled") !== null;
    for (const group of code.querySelectorAll(".whole")) {
      const empty = group.querySelector("[data-shows]") !== null && group.querySelector(".filled") === null;
      group.hidden = begun && empty;
    }
  };
  const text = (code) => [...code.querySelectorAll(".whole")].filter((group) => !group.hidden)
    .map((group) => (group.dataset.before || "") + group.textContent).join("");
  const count = () => {
    for (const link of document.querySelectorAll("a[data-page]")) {
      const boxes = [...document.getElementById(link.dataset.page).querySelectorAll("ol.steps input.tick")];
      link.classList.toggle("full", boxes.length > 0 && boxes.every((box) => box.checked));
    }
  };
  for (const box of ticks) {
    if (!box.disabled) box.checked = held[box.id] === true;
    box.addEventListener("change", () => { put(box.id, box.checked); count(); });
  }
  for (const slot of slots) {
    if (typeof held[slot.id] === "string") slot.value = held[slot.id];
    show(slot);
    slot.addEventListener("input", () => { put(slot.id, slot.value); show(slot); });
  }
  count();

  for (const button of document.querySelectorAll("button.copy")) {
    const code = document.getElementById(button.dataset.copy);
    button.addEventListener("click", async () => {
      try {
        await navigator.clipboard.writeText(text(code));
        button.textContent = "copied";
      } catch {
        getSelection().selectAllChildren(code);
        button.textContent = "marked: copy it";
      }
      setTimeout(() => { button.textContent = "copy"; }, 2000);
    });
  }
  document.getElementById("print").addEventListener("click", () => window.print());
  document.getElementById("clear").addEventListener("click", () => {
    if (!window.confirm("Clear all ticks and boxes of this plan?")) return;
    held = {};
    keep();
    for (const box of ticks) if (!box.disabled) box.checked = false;
    for (const slot of slots) { slot.value = ""; show(slot); }
    count();
  });
})();
