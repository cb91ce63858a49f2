// What the page was given: the run's table of clearances, captions and findings, and the scene as glTF.

export const data = JSON.parse(document.getElementById("run-data").textContent);

// Where time begins and ends on what is drawn against it, pixels from the left and the right.
export const TIME = { left: 74, right: 12 };

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

// A time as findings write it, h:mm:ss.s; digits 0 for the axis.
export function clock(seconds, digits = 1) {
  const share = 10 ** digits;
  const parts = Math.round(Math.max(seconds, 0) * share);
  const whole = Math.floor(parts / share);
  const two = (n) => String(n).padStart(2, "0");
  const text = `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}`;
  return digits ? `${text}.${String(parts % share).padStart(digits, "0")}` : text;
}

// The closest pair at a time, from the table, in the run's own axes and with the words of findings; or null.
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
  const bad = Boolean(track.short[k]);
  return {
    gap: { pair: data.pairs[track.row[k]], a: point(track.a), b: point(track.b) }, verdict: bad ? "fail" : "pass",
    value: `${bad ? "✕" : "✓"} ${track.words[k]}`, needed: track.needed[k],
    label: `${bad ? "✕" : "✓"} ${track.words[k]} (${track.needed[k]})`,
  };
}
