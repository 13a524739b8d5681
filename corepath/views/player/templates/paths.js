// One file as typed arrays, and where the cutter is at a time.
const tracks = new Map();
function track(number) {
  if (!tracks.has(number)) tracks.set(number, loadTrack(plan.reels[number]));
  return tracks.get(number);
}

async function loadTrack(reel) {
  const { unit, time } = plan.steps;
  const [x, y, z, line, flags, feed, ends, text] = await Promise.all([
    scaled(reel.x, unit), scaled(reel.y, unit), scaled(reel.z, unit), numbers(reel.line), numbers(reel.flags),
    scaled(reel.feed, 0.1), scaled(reel.time, time), words(reel.text),
  ]);
  const count = x.length;
  let lowest = Infinity, highest = -Infinity;
  for (let i = 0; i < count; i++) {
    if (z[i] < lowest) lowest = z[i];
    if (z[i] > highest) highest = z[i];
  }
  return { reel, count, x, y, z, line, flags, feed, ends, lines: text.split("\n"), lowest, highest, total: ends[count - 1] };
}

// First piece that ends at or after a time: binary search.
function pieceAt(t, seconds) {
  let low = 1, high = t.count - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (t.ends[middle] >= seconds) high = middle; else low = middle + 1;
  }
  return Math.min(low, t.count - 1);
}

function spotAt(t, seconds) {
  if (t.count < 2 || seconds <= 0) return { piece: 0, share: 1 };
  const piece = pieceAt(t, seconds);
  const begin = t.ends[piece - 1], long = t.ends[piece] - begin;
  return { piece, share: long > 0 ? Math.min(Math.max((seconds - begin) / long, 0), 1) : 1 };
}

function tipAt(t, spot) {
  const k = spot.piece, j = Math.max(k - 1, 0), s = spot.share;
  return {
    x: t.x[j] + (t.x[k] - t.x[j]) * s, y: t.y[j] + (t.y[k] - t.y[j]) * s, z: t.z[j] + (t.z[k] - t.z[j]) * s,
    seconds: t.ends[j] + (t.ends[k] - t.ends[j]) * s,
  };
}

// Last piece of the line after (or before) the one at a piece.
function lineOn(t, spot) {
  let k = spot.piece;
  const here = t.line[k];
  if (k > 0 && (spot.share < 1 || (k + 1 < t.count && t.line[k + 1] === here))) {
    while (k + 1 < t.count && t.line[k + 1] === here) k++;
    return k;
  }
  if (k + 1 >= t.count) return k;
  k++;
  while (k + 1 < t.count && t.line[k + 1] === t.line[k]) k++;
  return k;
}

function lineBack(t, spot) {
  let k = spot.piece;
  const here = t.line[k];
  while (k > 0 && t.line[k] === here) k--;
  return k;
}

// Last piece of a line of the text; where that line moves nothing, of the last one before it that does.
function pieceOfLine(t, number) {
  let low = 0, high = t.count - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (t.line[middle] <= number) low = middle; else high = middle - 1;
  }
  return low;
}
