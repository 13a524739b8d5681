// Packed text back to arrays: base64, deflate, running sums. See pack.py.
const plan = JSON.parse(document.getElementById("plan").textContent);
const byId = (id) => document.getElementById(id);

async function inflate(packed) {
  const raw = atob(packed);
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Response(stream).arrayBuffer();
}

function summed(array) {
  for (let i = 1; i < array.length; i++) array[i] += array[i - 1];
  return array;
}

const numbers = async (packed) => summed(new Int32Array(await inflate(packed)));

async function scaled(packed, step) {
  const whole = await numbers(packed);
  return Float64Array.from(whole, (value) => value * step);
}

const facesHeld = new Map();
function face(index) {
  if (!facesHeld.has(index)) {
    facesHeld.set(index, inflate(plan.faces[index]).then((data) => summed(new Int16Array(data))));
  }
  return facesHeld.get(index);
}

const words = async (packed) => new TextDecoder().decode(await inflate(packed));
