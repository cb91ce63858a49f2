// The page that plays a run: clock, controls, captions, findings. Text from the run is set as text, never as markup.

import { clock, closestAt, data, distanceWords, neededWords, short, valueWords } from "./data.js";
import { Plot } from "./plot.js";
import { View } from "./scene.js";

const $ = (id) => document.getElementById(id);
const STEP_S = 5;
const FEW = 8; // passes of one check that are shown unfolded
const groups = new Map();

const state = { time: data.start_s, playing: false, speed: 10, finding: null, last: 0 };
const view = new View($("scene"));
const plot = new Plot($("plot"), (time) => seek(time));

function seek(time) {
  state.time = Math.min(Math.max(time, data.start_s), data.end_s);
  if (state.finding && Math.abs(state.time - state.finding.time) > 0.25) choose(null);
  refresh();
}

function play(on) {
  if (on && state.time >= data.end_s) state.time = data.start_s;
  state.playing = on;
  state.last = performance.now();
  $("play").textContent = on ? "❚❚ Pause" : "► Play";
  $("play").setAttribute("aria-pressed", String(on));
}

function refresh() {
  view.show(state.time);
  plot.draw(state.time);
  $("clock").textContent = `${clock(state.time - data.start_s)} / ${clock(data.end_s - data.start_s)}`;
  $("scrub").value = String(state.time);
  caption();
  closest();
}

function caption() {
  let move = null;
  for (const each of data.moves) if (each.start <= state.time && state.time <= each.end) move = each;
  $("say").textContent = move ? move.say || move.title : "";
  const doing = data.doings.filter((each) => each.start <= state.time && state.time < each.end).map((each) => each.words);
  $("move").textContent = doing.join(" · ") || (move ? `${move.carry}: ${move.title}` : "");
}

function closest() {
  const found = state.finding && state.finding.gap ? state.finding.gap : closestAt(state.time);
  const key = found ? `${found.pair.a}|${found.pair.b}` : "";
  const bad = Boolean(found) && short(found.value, found.pair.required);
  const colour = bad ? data.colours.fail : data.colours.pass;
  view.gap(found, colour);
  if (state.pair !== key) {
    state.pair = key;
    view.highlight(found ? [found.pair.a, found.pair.b] : [], [data.colours.one, data.colours.other]);
  }
  const words = found ? distanceWords(found.value, found.pair.required) : `farther than ${data.report_m} m`;
  const [shown, needed] = found ? [valueWords(found.value), neededWords(found.pair.required)] : [words, ""];
  $("pair").textContent = found ? `${found.pair.a_words} – ${found.pair.b_words}` : "no pair within reach";
  $("value").textContent = `${found ? (bad ? "✕ " : "✓ ") : ""}${shown}`;
  $("needed").textContent = needed;
  $("value").className = bad ? "bad" : "good";
  $("label").textContent = words;
  $("label").className = bad ? "bad" : "good";
}

function choose(finding) {
  state.finding = finding;
  for (const item of document.querySelectorAll("#findings button")) {
    const chosen = finding !== null && item.dataset.number === String(finding.number);
    item.setAttribute("aria-current", String(chosen));
    if (!chosen) continue;
    item.parentElement.open = true;
    item.scrollIntoView({ block: "nearest" });
  }
}

function jump(finding) {
  play(false);
  if (finding.view) {
    use("free");
    view.place(finding.view);
  }
  choose(finding);
  seek(finding.time);
}

function use(name) {
  $("camera").value = name;
  view.use(name);
}

function option(select, value, text) {
  const item = document.createElement("option");
  item.value = value;
  item.textContent = text;
  select.append(item);
}

function listFindings() {
  data.findings.forEach((finding, number) => {
    finding.number = number;
    const item = document.createElement("button");
    item.type = "button";
    item.dataset.number = String(number);
    item.className = finding.verdict;
    const found = `${finding.sign} ${finding.word}: ${finding.check.replaceAll("_", " ")}`;
    const parts = [["sign", found], ["when", clock(finding.time - data.start_s)],
      ["message", finding.message], ["remedy", finding.remedy]];
    for (const [name, text] of parts) {
      if (!text) continue;
      const part = document.createElement("span");
      part.className = name;
      part.textContent = text;
      item.append(part);
    }
    item.addEventListener("click", () => jump(finding));
    groupOf(finding).append(item);
  });
  for (const group of groups.values()) {
    const count = group.querySelectorAll("button").length;
    group.firstChild.textContent += `: ${count}`;
    group.open = group.dataset.verdict !== "pass" || count <= FEW;
  }
}

// Findings of one check with one verdict fold away together: a day has hundreds.
function groupOf(finding) {
  const key = `${finding.verdict} ${finding.check}`;
  if (!groups.has(key)) {
    const group = document.createElement("details");
    group.dataset.verdict = finding.verdict;
    const head = document.createElement("summary");
    head.textContent = `${finding.sign} ${finding.check.replaceAll("_", " ")}`;
    group.append(head);
    groups.set(key, group);
    $("findings").append(group);
  }
  return groups.get(key);
}

function fill() {
  $("title").textContent = data.title;
  $("verdict").textContent = data.counts;
  $("caution").textContent = data.caution;
  document.title = data.title;
  $("scrub").min = String(data.start_s);
  $("scrub").max = String(data.end_s);
  for (const speed of data.speeds) option($("speed"), String(speed), `${speed}×`);
  $("speed").value = String(state.speed);
  option($("camera"), "free", "Free (drag to turn)");
  option($("camera"), "follow", "Follow the tip");
  for (const camera of data.cameras) option($("camera"), camera.name, camera.title);
  data.curves.forEach((curve, k) => option($("group"), String(k), curve.group));
  $("group").parentElement.hidden = data.curves.length === 0;
  $("tightest").disabled = data.tightest === null;
  listFindings();
}

function connect() {
  $("play").addEventListener("click", () => play(!state.playing));
  $("back").addEventListener("click", () => seek(state.time - STEP_S));
  $("forward").addEventListener("click", () => seek(state.time + STEP_S));
  $("tightest").addEventListener("click", () => jump(data.tightest));
  $("scrub").addEventListener("input", () => seek(Number($("scrub").value)));
  $("speed").addEventListener("change", () => { state.speed = Number($("speed").value); });
  $("camera").addEventListener("change", () => { use($("camera").value); refresh(); });
  $("group").addEventListener("change", () => { plot.choose(Number($("group").value)); refresh(); });
  $("help").addEventListener("click", () => $("keys").showModal());
  $("close").addEventListener("click", () => { $("keys").close(); document.activeElement.blur(); });
  $("keys").addEventListener("close", () => document.activeElement.blur());
  document.addEventListener("keydown", press);
  // after a click with the mouse the keys are the page's again, not the button's
  document.addEventListener("click", (event) => { if (event.detail > 0 && event.target.closest("button")) document.activeElement.blur(); });
  window.addEventListener("resize", fit);
}

function press(event) {
  const typing = ["SELECT", "INPUT"].includes(event.target.tagName) && event.key !== "?";
  if (event.ctrlKey || event.altKey || event.metaKey || typing || $("keys").open) return;
  const actions = {
    " ": () => play(!state.playing),
    ArrowLeft: () => seek(state.time - STEP_S),
    ArrowRight: () => seek(state.time + STEP_S),
    Home: () => seek(data.start_s),
    End: () => seek(data.end_s),
    "+": () => faster(1),
    "-": () => faster(-1),
    t: () => { if (data.tightest) jump(data.tightest); },
    n: () => nextFinding(1),
    p: () => nextFinding(-1),
    c: () => nextCamera(),
    o: () => { use("free"); view.home(); refresh(); },
    "?": () => $("keys").showModal(),
  };
  const action = actions[event.key];
  if (!action || (event.key === " " && event.target.tagName === "BUTTON")) return;
  event.preventDefault();
  action();
}

function faster(by) {
  const k = Math.min(Math.max(data.speeds.indexOf(state.speed) + by, 0), data.speeds.length - 1);
  state.speed = data.speeds[k];
  $("speed").value = String(state.speed);
}

function nextFinding(by) {
  if (!data.findings.length) return;
  const now = state.finding && state.finding.number !== undefined ? state.finding.number : by > 0 ? -1 : 0;
  jump(data.findings[(now + by + data.findings.length) % data.findings.length]);
}

function nextCamera() {
  const names = [...$("camera").options].map((item) => item.value);
  use(names[(names.indexOf($("camera").value) + 1) % names.length]);
  refresh();
}

function fit() {
  view.resize();
  plot.resize();
  refresh();
}

function frame(now) {
  if (state.playing) {
    const passed = Math.min((now - state.last) / 1000, 0.25);
    state.last = now;
    seek(state.time + passed * state.speed);
    if (state.time >= data.end_s) play(false);
  }
  if (view.dirty) {
    closest();
    view.draw();
    const place = view.labelPlace();
    $("label").hidden = place === null;
    if (place) {
      const wide = $("label").offsetWidth;
      const right = place.x + 14 + wide < $("scene").clientWidth;
      const x = right ? place.x + 14 : Math.max(place.x - 14 - wide, 0);
      const views = $("views"); // the label stays below what is chosen there
      const top = x < views.offsetLeft + views.offsetWidth ? views.offsetTop + views.offsetHeight : 0;
      $("label").style.transform = `translate(${x}px, ${Math.max(place.y - 16, top)}px)`;
    }
    frames.count += 1;
  }
  requestAnimationFrame(frame);
}

const frames = { count: 0 };

async function start() {
  fill();
  connect();
  try {
    await view.load();
  } catch (error) {
    $("trouble").textContent = `The scene cannot be shown: ${error.message}`;
    $("trouble").hidden = false;
    throw error;
  }
  use("free");
  fit();
  play(false);
  requestAnimationFrame(frame);
  window.armcarryPage = { seek, play, use, jump, state, frames, data, poseOf: (name) => view.poseOf(name) };
  document.body.dataset.ready = "yes";
}

start();
