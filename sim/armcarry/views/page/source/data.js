// What the page was given: the run's table of clearances, captions and findings, and the scene as glTF.

export const data = JSON.parse(document.getElementById("run-data").textContent);

// The scene is packed with gzip: a run of hours would not stay small without.
export async function sceneBytes() {
  const text = atob(document.getElementById("run-scene").textContent.trim());
  const bytes = new Uint8Array(text.length);
  for (let k = 0; k < text.length; k += 1) bytes[k] = text.charCodeAt(k);
  const whole = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(whole).arrayBuffer();
}

// Row k with times[k] <= time < times[k + 1], within the table.
export function rowAt(times, time) {
  let low = 0;
  let high = times.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (times[middle] <= time) low = middle;
    else high = middle - 1;
  }
  return low;
}

export function clock(seconds) {
  const tenths = Math.round(Math.max(seconds, 0) * 10);
  if (tenths >= 36000) {
    const whole = Math.round(tenths / 10);
    const two = (n) => String(n).padStart(2, "0");
    return `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
  }
  return `${Math.floor(tenths / 600)}:${((tenths % 600) / 10).toFixed(1).padStart(4, "0")}`;
}

// The closest pair at a time, from the table: {pair, value, a, b} in the run's own axes, or null.
export function closestAt(time) {
  const track = data.track;
  if (!track.times.length) return null;
  const k = rowAt(track.times, time);
  if (track.row[k] < 0) return null;
  const last = k + 1 >= track.times.length || track.row[k + 1] !== track.row[k];
  const share = last ? 0 : (time - track.times[k]) / (track.times[k + 1] - track.times[k]);
  const point = (list) => [0, 1, 2].map((i) => {
    const from = list[3 * k + i];
    return last ? from : from + share * (list[3 * k + 3 + i] - from);
  });
  return { pair: data.pairs[track.row[k]], value: track.lower[k], a: point(track.a), b: point(track.b) };
}

export const valueWords = (value) => (value === null ? "contact" : `${value.toFixed(3)} m`);

export const neededWords = (required) => (required === null ? "" : `${required.toFixed(2)} m required`);

export function distanceWords(value, required) {
  return required === null ? valueWords(value) : `${valueWords(value)} (${neededWords(required)})`;
}

export function short(value, required) {
  return required !== null && (value === null || value < required);
}
