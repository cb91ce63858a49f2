// The page that plays a run: clock, controls, captions, findings. Text from the run is set as text, never as markup.

import { clock, closestAt, data } from "./data.js";
import { labelPlace } from "./label.js";
import { Lanes } from "./lanes.js";
import { Marks } from "./marks.js";
import { measure } from "./measure.js";
import { Places } from "./overlay.js";
import { Plan } from "./plan.js";
import { Plot } from "./plot.js";
import { View } from "./scene.js";

const $ = (id) => document.getElementById(id);
const STEP_S = 5;
const PAGE_S = 60;
const DAY_S = 3600; // of a longer run, what stands still passes quickly unless somebody says otherwise
const FEW = 8; // passes of one check that are shown unfolded
const [SEVERAL, MOST_CORNERS] = ["*", 3];
const TURN_RAD = Math.PI / 24;

const state = { time: data.start_s, playing: false, speed: 10, finding: null, last: 0 };
const view = new View($("scene"));
const plot = new Plot($("plot"), (time) => seek(time));
const lanes = new Lanes($("lanes"), (time) => seek(time));
const plan = new Plan($("plan"));
const places = new Places($("places"));
const marks = new Marks({ entry: $("entry"), note: $("note"), list: $("kept"), save: $("save") }, seen, toMark);

function seek(time) {
  state.time = Math.min(Math.max(time, data.start_s), data.end_s);
  if (state.finding && Math.abs(state.time - state.finding.time) > 0.25) {
    choose(null);
    view.seeThrough([]);
  }
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
  lanes.draw(state.time);
  plan.draw((name) => view.placeOf(name));
  $("clock").textContent = `${clock(state.time - data.start_s)} / ${clock(data.end_s - data.start_s)}`;
  $("scrub").value = String(state.time);
  $("scrub").setAttribute("aria-valuetext", clock(state.time - data.start_s));
  caption();
  closest();
  ruler();
  link();
}

// The distance between the two things that are named, now.
function ruler() {
  const [one, other] = ["from", "to"].map((end) => data.things.find(({ words }) => words === $(end).value));
  const found = one && other && one !== other ? measure(one.name, other.name, (name) => view.provenPose(name)) : null;
  view.measured(found);
  $("measured").hidden = found === null;
  if (!found) return;
  const words = found.names.map((name) => data.things.find((each) => each.name === name).words).join(" – ");
  $("measured").textContent = found.distance > 0 ? `${found.distance.toFixed(3)} m now, to 5 mm: ${words}` : `contact: ${words}`;
}

function caption() {
  let move = null;
  for (const each of data.moves) if (each.start <= state.time && state.time <= each.end) move = each;
  $("say").textContent = move ? move.say || move.title : "";
  const doing = data.doings.filter((each) => each.start <= state.time && state.time < each.end).map((each) => each.words);
  $("move").textContent = doing.join(" · ") || (move ? `${move.carry}: ${move.title}` : "");
  $("say").hidden = !$("say").textContent;
  $("words").hidden = !$("say").textContent && !$("move").textContent;
}

// What is shown of clearance now: the chosen finding by its own verdict, else the pair that matters most.
function closest() {
  const shown = state.finding ?? closestAt(state.time);
  const gap = shown ? shown.gap : null;
  view.showGhost(shown?.after ?? [], gap ? [gap.pair.a, gap.pair.b] : [], $("stop").checked);
  const key = gap ? `${gap.pair.a}|${gap.pair.b}|${(shown.after ?? []).length}` : "";
  const kind = { fail: "bad", pass: "good" }[shown ? shown.verdict : "pass"] ?? "open";
  view.gap(gap, { bad: data.colours.fail, good: data.colours.pass, open: data.colours.orange }[kind]);
  if (state.pair !== key) {
    state.pair = key;
    // what a fault moves stands out where it would be, not where it is
    const stays = gap ? [gap.pair.a, gap.pair.b].filter((name) => !view.goes(name, shown.after ?? [])) : [];
    view.highlight(stays, [data.colours.one, data.colours.other]);
  }
  $("head").textContent = state.finding && state.finding.check ? `Chosen: ${state.finding.check}` : "Closest pair";
  if (gap) $("pair").textContent = `${gap.pair.a_words} – ${gap.pair.b_words}`;
  else $("pair").textContent = shown ? shown.of || "the whole run" : "no pair within reach";
  $("value").textContent = shown ? shown.value : `farther than ${data.report_m} m`;
  $("needed").textContent = shown ? shown.needed : "";
  $("label").textContent = shown ? shown.label : "";
  for (const name of ["value", "label"]) $(name).className = kind;
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
    view.seeThrough(finding.before);
  }
  if (finding.curve !== null) {
    $("group").value = String(finding.curve);
    plot.choose(finding.curve);
  }
  choose(finding);
  seek(finding.time);
}

// What the corner shows: one camera, or the eyes of people and the first cameras one above another.
function cornerNames() {
  const name = $("corner").value;
  if (name !== SEVERAL) return name ? [name] : [];
  const people = new Set(data.people.map((person) => person.name));
  const names = data.cameras.map((camera) => camera.name);
  return [...names.filter((each) => people.has(each)), ...names.filter((each) => !people.has(each))].slice(0, MOST_CORNERS);
}

function use(name) {
  $("camera").value = name;
  view.use(name);
  link();
}

// What is shown now, as a bookmark has it; and back to one.
function seen() {
  const name = $("camera").value;
  return { time_s: Math.round(state.time * 1000) / 1000, view: name, ...(name === "free" ? view.eyeAndFocus() : {}) };
}

function toMark(mark) {
  play(false);
  choose(null);
  if ([...$("camera").options].some((item) => item.value === mark.view)) use(mark.view);
  if (mark.eye_m && mark.focus_m) view.stand(mark.eye_m, mark.focus_m);
  seek(mark.time_s);
}

function nextMark(by) {
  const mark = marks.after(state.time, by);
  if (mark) toMark(mark);
}

function note() {
  $("marks").open = true;
  $("note").focus();
}

// The address tells instant and view, so that a copied link leads back here.
function link() {
  const hash = `#t=${state.time.toFixed(1)}&view=${encodeURIComponent($("camera").value)}`;
  if (!state.playing && hash !== location.hash) history.replaceState(null, "", hash);
}

function fromLink() {
  const asked = new URLSearchParams(location.hash.slice(1));
  const name = asked.get("view");
  if ([...$("camera").options].some((item) => item.value === name)) use(name);
  const time = Number(asked.get("t"));
  if (asked.has("t") && Number.isFinite(time)) seek(time);
}

// To where the next step or move begins, or the one shown now or before it.
function step(by) {
  const starts = by > 0 ? data.steps.filter((at) => at > state.time + 0.05) : data.steps.filter((at) => at < state.time - 0.05);
  if (starts.length) seek(by > 0 ? starts[0] : starts.at(-1));
  else seek(by > 0 ? data.end_s : data.start_s);
}

function option(select, value, text) {
  const item = document.createElement("option");
  item.value = value;
  item.textContent = text;
  select.append(item);
}

// Failures first and by their cause, as the terminal tells them; what passed by its check: a day has hundreds.
function listFindings() {
  let number = 0;
  for (const fold of data.folds) {
    const group = document.createElement("details");
    group.dataset.verdict = fold.verdict;
    const head = document.createElement("summary");
    head.textContent = fold.words;
    group.dataset.words = fold.words;
    group.append(head);
    for (let k = 0; k < fold.count; k += 1) {
      group.append(itemOf(data.findings[number], number));
      number += 1;
    }
    group.open = fold.verdict !== "pass" || fold.count <= FEW;
    $("findings").append(group);
  }
}

function itemOf(finding, number) {
  finding.number = number;
  const item = document.createElement("button");
  item.type = "button";
  item.dataset.number = String(number);
  item.className = finding.verdict;
  item.dataset.people = finding.people.join(" ");
  item.dataset.check = finding.check;
  const parts = [["sign", `${finding.sign} ${finding.word}: ${finding.check}`], ["when", finding.when],
    ["message", finding.message], ["remedy", finding.remedy]];
  for (const [name, text] of parts) {
    if (!text) continue;
    const part = document.createElement("span");
    part.className = name;
    part.textContent = text;
    item.append(part);
  }
  item.addEventListener("click", () => jump(finding));
  return item;
}

// Only findings about one person, or of one check; a fold that has none left is not shown.
function filter() {
  const [person, check] = [$("who").value, $("check").value];
  for (const group of document.querySelectorAll("#findings details")) {
    let left = 0;
    for (const item of group.querySelectorAll("button")) {
      item.hidden = (person && !item.dataset.people.split(" ").includes(person)) || (check && item.dataset.check !== check);
      left += Number(!item.hidden);
    }
    group.hidden = left === 0;
    if (person || check) group.open = true;
    group.querySelector("summary").textContent = group.dataset.words.replace(/\d+$/, left);
  }
  $("none").hidden = Boolean(document.querySelector("#findings details:not([hidden])"));
  lanes.only(person ? (data.people.find((each) => each.name === person) ?? {}).words : "");
  refresh();
}

// Paper shows every finding, whatever is folded away on the screen.
function printing(on) {
  for (const group of document.querySelectorAll("#findings details")) {
    if (on) group.dataset.open = String(group.open);
    group.open = on || group.dataset.open === "true";
  }
}

function fill() {
  $("title").textContent = data.title;
  $("verdict").textContent = data.counts;
  $("verdict").className = data.verdict;
  $("caution").textContent = data.caution;
  document.title = data.title;
  $("scrub").min = String(data.start_s);
  $("scrub").max = String(data.end_s);
  for (const speed of data.speeds) option($("speed"), String(speed), `${speed}×`);
  $("speed").value = String(state.speed);
  option($("camera"), "free", "Free (drag to turn)");
  option($("camera"), "follow", "Follow the tip");
  option($("corner"), "", "nothing");
  if (data.cameras.length > 1) option($("corner"), SEVERAL, "several");
  for (const camera of data.cameras) {
    option($("camera"), camera.name, camera.title);
    option($("corner"), camera.name, camera.title);
  }
  $("corner").parentElement.hidden = data.cameras.length === 0;
  $("cones").parentElement.hidden = data.cameras.length === 0;
  $("rooms").parentElement.hidden = data.rooms.each.length === 0;
  option($("who"), "", "everybody");
  for (const person of data.people) option($("who"), person.name, person.words);
  option($("check"), "", "all checks");
  for (const check of new Set(data.findings.map((finding) => finding.check))) option($("check"), check, check);
  for (const { words } of data.things) option($("things"), words, "");
  data.curves.forEach((curve, k) => option($("group"), String(k), curve.group));
  $("group").parentElement.hidden = data.curves.length === 0;
  $("tightest").disabled = data.tightest === null;
  $("skip").disabled = data.idle.length === 0;
  $("skip").checked = data.idle.length > 0 && data.end_s - data.start_s > DAY_S;
  listFindings();
}

function connect() {
  $("play").addEventListener("click", () => play(!state.playing));
  $("back").addEventListener("click", () => step(-1));
  $("forward").addEventListener("click", () => step(1));
  for (const name of ["who", "check"]) $(name).addEventListener("change", filter);
  for (const name of ["from", "to"]) $(name).addEventListener("input", ruler);
  for (const name of ["path", "map", "cones", "rooms", "stop", "proven"]) $(name).addEventListener("change", show);
  $("cut").addEventListener("change", () => { view.cutAcross($("cut").value); refresh(); });
  $("tightest").addEventListener("click", () => jump(data.tightest));
  $("scrub").addEventListener("input", () => seek(Number($("scrub").value)));
  $("speed").addEventListener("change", () => { state.speed = Number($("speed").value); });
  $("camera").addEventListener("change", () => { use($("camera").value); refresh(); });
  $("corner").addEventListener("change", () => { view.inCorner(cornerNames()); refresh(); });
  window.addEventListener("hashchange", fromLink);
  $("group").addEventListener("change", () => { plot.choose(Number($("group").value)); refresh(); });
  $("help").addEventListener("click", () => $("keys").showModal());
  $("close").addEventListener("click", () => { $("keys").close(); document.activeElement.blur(); });
  $("keys").addEventListener("close", () => document.activeElement.blur());
  document.addEventListener("keydown", press);
  // after a click with the mouse the keys are the page's again, not the button's
  document.addEventListener("click", (event) => { if (event.detail > 0 && event.target.closest("button")) document.activeElement.blur(); });
  // the mouse works the canvas without taking the keys from the page
  for (const name of ["scene", "plot"]) $(name).addEventListener("mousedown", (event) => event.preventDefault());
  window.addEventListener("resize", fit);
  window.addEventListener("beforeprint", () => printing(true));
  window.addEventListener("afterprint", () => printing(false));
}

// What is laid over the scene, by the boxes that are ticked.
function show() {
  view.showPath($("path").checked);
  view.showCones($("cones").checked);
  view.showRooms($("rooms").checked);
  if (view.proven !== $("proven").checked) view.showProven($("proven").checked);
  $("plan").hidden = !$("map").checked;
  if (!$("plan").hidden) plan.resize();
  refresh();
}

function toggle(name) {
  $(name).checked = !$(name).checked;
  show();
}

// Keys of what has the focus: the view turns, the slider and the plot go through time.
function keysOf(target) {
  if (target === $("scene")) {
    return {
      ArrowLeft: () => turn(TURN_RAD, 0), ArrowRight: () => turn(-TURN_RAD, 0), ArrowUp: () => turn(0, -TURN_RAD),
      ArrowDown: () => turn(0, TURN_RAD), PageUp: () => turn(0, 0, 1 / 1.15), PageDown: () => turn(0, 0, 1.15),
    };
  }
  if (target !== $("scrub") && target !== $("plot")) return {};
  return {
    ArrowDown: () => seek(state.time - STEP_S), ArrowUp: () => seek(state.time + STEP_S),
    PageDown: () => seek(state.time - PAGE_S), PageUp: () => seek(state.time + PAGE_S),
  };
}

function turn(aside, up, far = 1) {
  if (view.camera !== view.free) use("free");
  view.turn(aside, up, far);
}

function press(event) {
  const typing = ["SELECT", "INPUT"].includes(event.target.tagName) && event.target !== $("scrub")
    && (event.key !== "?" || event.target === $("note"));
  if (event.ctrlKey || event.altKey || event.metaKey || typing || $("keys").open) return;
  const actions = {
    " ": () => play(!state.playing),
    ArrowLeft: () => (event.shiftKey ? step(-1) : seek(state.time - STEP_S)),
    ArrowRight: () => (event.shiftKey ? step(1) : seek(state.time + STEP_S)),
    Home: () => seek(data.start_s),
    End: () => seek(data.end_s),
    "+": () => faster(1),
    "-": () => faster(-1),
    t: () => { if (data.tightest) jump(data.tightest); },
    n: () => nextFinding(1),
    p: () => nextFinding(-1),
    b: () => note(),
    ".": () => nextMark(1),
    ",": () => nextMark(-1),
    q: () => { if (!$("skip").disabled) $("skip").checked = !$("skip").checked; },
    d: () => { $("show").open = true; $("from").focus(); },
    c: () => nextCamera(),
    o: () => { use("free"); view.home(); refresh(); },
    k: () => toggle("proven"),
    w: () => toggle("path"),
    m: () => toggle("map"),
    v: () => toggle("cones"),
    s: () => toggle("stop"),
    r: () => toggle("rooms"),
    x: () => { $("cut").selectedIndex = ($("cut").selectedIndex + 1) % $("cut").options.length; view.cutAcross($("cut").value); refresh(); },
    "?": () => $("keys").showModal(),
    ...keysOf(event.target),
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
  lanes.resize();
  plan.resize();
  refresh();
}

// The instant after so much time of the wall; what stands still passes quickly where that is asked.
function later(passed) {
  let [time, left] = [state.time, passed];
  for (const [start, end] of $("skip").checked ? data.idle : []) {
    if (end <= time || end - start <= data.idle_passes * state.speed) continue;
    const before = Math.max(start - time, 0) / state.speed;
    if (left <= before) break;
    [time, left] = [Math.max(start, time), left - before];
    const within = ((end - time) / (end - start)) * data.idle_passes;
    if (left <= within) return time + (left / data.idle_passes) * (end - start);
    [time, left] = [end, left - within];
  }
  return time + left * state.speed;
}

function frame(now) {
  if (state.playing) {
    const passed = Math.min((now - state.last) / 1000, 0.25);
    state.last = now;
    seek(later(passed));
    if (state.time >= data.end_s) play(false);
  }
  if (view.dirty) {
    closest();
    view.draw();
    label();
    frames.count += 1;
  }
  requestAnimationFrame(frame);
}

const frames = { count: 0 };

// A part of the page as a room of the view.
function roomOf(part) {
  const [box, whole] = [part.getBoundingClientRect(), $("scene").getBoundingClientRect()];
  return { left: box.left - whole.left, top: box.top - whole.top, right: box.right - whole.left, bottom: box.bottom - whole.top };
}

function label() {
  const taken = ["views", "words", "plan"].filter((name) => $(name).offsetWidth).map((name) => roomOf($(name)));
  taken.push(...view.cornerRooms());
  const ends = view.gapOnCanvas();
  $("label").hidden = ends === null;
  if (ends) {
    const box = $("label").getBoundingClientRect();
    const size = { wide: Math.ceil(box.width), tall: Math.ceil(box.height) };
    const { x, y } = labelPlace(ends, size, { wide: $("scene").clientWidth, tall: $("scene").clientHeight }, taken);
    $("label").style.transform = `translate(${x}px, ${y}px)`;
    taken.push({ left: x, top: y, right: x + size.wide, bottom: y + size.tall });
  }
  places.show($("path").checked && view.camera === view.free, (point) => view.project(point), taken);
}

async function start() {
  const asked = location.hash;
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
  $("map").checked = matchMedia("(min-width: 901px)").matches;
  filter();
  show();
  fit();
  play(false);
  if (asked) {
    history.replaceState(null, "", asked);
    fromLink();
  }
  requestAnimationFrame(frame);
  window.armcarryPage = { seek, later, marks, measure: (one, other) => measure(one, other, (name) => view.provenPose(name)), play, use, jump, state, frames, data, pathEnds: () => view.path.children.map((part) => part.userData.until), pathShown: () => view.path.children.filter((part) => part.visible).map((part) => part.userData.until), rest: (time) => { seek(time); return view.ghost.rest(time); }, poseOf: (name) => view.poseOf(name) };
  document.body.dataset.ready = "yes";
}

start();
