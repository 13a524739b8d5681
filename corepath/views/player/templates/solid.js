// The core in 3-D: the page of the library with the scene put in, in a frame of its own.
let viewerHeld = null;

function base64Of(bytes) {
  let raw = "";
  for (let i = 0; i < bytes.length; i += 32768) raw += String.fromCharCode.apply(null, bytes.subarray(i, i + 32768));
  return btoa(raw);
}

async function showSolid(setup) {
  const bytes = new Uint8Array(await inflate(plan.solids[setup]));
  viewerHeld = viewerHeld || (await words(plan.viewer));
  const frame = document.createElement("iframe");
  frame.title = `the core after set-up ${setup}, to turn with mouse or finger`;
  frame.srcdoc = viewerHeld.split(plan.slot).join(base64Of(bytes));
  const place = byId("solid");
  place.replaceChildren(frame);
  place.hidden = false;
  const save = byId("save");
  if (save.href) URL.revokeObjectURL(save.href);
  save.href = URL.createObjectURL(new Blob([bytes], { type: "model/gltf-binary" }));
  save.download = `core-after-${setup}.glb`;
  save.hidden = false;
  for (const button of document.querySelectorAll("[data-solid]")) {
    button.setAttribute("aria-pressed", String(button.dataset.solid === setup));
  }
}
