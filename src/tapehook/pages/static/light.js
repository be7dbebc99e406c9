// The page of light: the exposure follows its sliders; the course of a stop pull is typed, dragged or moved by keys.
//
// Figures are worked out by the server, which answers at once; of several answers under way only the newest is shown.

import { follower, queryOf } from "./follow.js";
import { announce, at, markStale, send, sentences } from "./live.js";

const narrow = matchMedia("(max-width: 600px)");
const NS = "http://www.w3.org/2000/svg";
const STEP_S = 0.1;
const STOPS_PER_KEY = 1 / 3;
const LONGEST_S = 120;

function courseQuery() {
  const given = queryOf(form);
  given.set("shot", form.dataset.opened);
  for (const text of courseTexts()) given.append("course", text);
  if (axis.held) given.set("end", String(axis.held));
  if (narrow.matches) given.set("narrow", "true");
  return given;
}

// --- exposure --------------------------------------------------------------------------------------------------

const exposure = at("exposure");
const { now: followExposure } = follower(exposure, "exposure");

/** Puts a slider where its field stands; a figure between its steps moves it to none. */
function placeSlider(slider) {
  const steps = slider.dataset.steps.split("|");
  const text = exposure.elements[slider.dataset.for].value.trim();
  const number = (one) => Number.parseFloat(one.replace(/^\D+/, ""));
  let found = steps.indexOf(text);
  if (found < 0 && text) {
    const gaps = steps.map((step) => Math.abs(Math.log(number(step) / number(text))));
    found = gaps.indexOf(Math.min(...gaps.filter((gap) => Number.isFinite(gap))));
  }
  if (found >= 0) slider.value = String(found);
  slider.setAttribute("aria-valuetext", text);
}

function markSolved() {
  const solved = exposure.elements.solve.value;
  for (const row of exposure.querySelectorAll(".light-slider")) {
    const field = row.querySelector("input[name]");
    row.classList.toggle("is-found", field.name === solved);
    for (const one of [field, row.querySelector("[type=range]")]) one.disabled = field.name === solved;
  }
}

for (const slider of exposure.querySelectorAll("[type=range]")) {
  placeSlider(slider);
  slider.addEventListener("input", () => {
    const text = slider.dataset.steps.split("|")[Number(slider.value)];
    exposure.elements[slider.dataset.for].value = text;
    slider.setAttribute("aria-valuetext", text);
    followExposure();
  });
}
exposure.addEventListener("input", (event) => {
  if (event.target.type === "range") return;
  if (event.target.name === "solve") markSolved();
  const slider = exposure.querySelector(`[data-for="${CSS.escape(event.target.name)}"]`);
  if (slider) placeSlider(slider);
  followExposure();
});
exposure.addEventListener("submit", (event) => event.preventDefault());

// --- the course of a stop pull ---------------------------------------------------------------------------------

const form = at("course");
const list = at("marks");
const axis = { held: 0 };
let handles = null;

const { now: followPull } = follower(form, "pull", {
  query: courseQuery,
  shown: (held) => drawHandles(held?.dataset.handle),
});

function courseTexts() {
  return [...list.children].map((row) => {
    const [seconds, wanted, much] = row.querySelectorAll("input, select");
    return `${seconds.value.trim()} ${wanted.value} ${much.value.trim()}`;
  });
}

const WANTED = [
  ["stop", "stop"],
  ["depth", "depth, m"],
  ["blur", "blur, mm"],
];

function labelled(text, field) {
  const label = document.createElement("label");
  label.append(`${text} `, field);
  return label;
}

function makeRow(row, text) {
  const [seconds, wanted, ...rest] = text.split(" ");
  const time = Object.assign(document.createElement("input"), { value: seconds, inputMode: "decimal" });
  const kind = document.createElement("select");
  for (const [value, said] of WANTED) kind.append(new Option(said, value, false, value === wanted));
  const much = Object.assign(document.createElement("input"), { value: rest.join(" ") });
  const gone = Object.assign(document.createElement("button"), { type: "button", textContent: "take out" });
  gone.addEventListener("click", () => {
    if (list.children.length > 2) {
      row.remove();
      followPull();
    } else announce("A course has two marks or more.");
  });
  row.replaceChildren(labelled("at, s", time), labelled("wanted", kind), labelled("figure", much), gone);
  return row;
}

for (const row of [...list.children]) makeRow(row, row.dataset.markText);

at("add-mark").addEventListener("click", () => {
  const last = courseTexts().at(-1)?.split(" ") ?? ["0", "stop", "T4"];
  const row = document.createElement("li");
  list.append(makeRow(row, `${round(Math.min(Number(last[0]) + 2, LONGEST_S))} ${last.slice(1).join(" ")}`));
  row.querySelector("input").focus();
  followPull();
});

form.addEventListener("input", (event) => {
  if (event.target.id !== "name" && event.target.id !== "shot") followPull();
});
at("shot").addEventListener("change", (event) => {
  location.assign(`${form.dataset.page}?shot=${encodeURIComponent(event.target.value)}`);
});

at("take-out")?.addEventListener("click", async () => {
  const { opened, mark } = form.dataset;
  try {
    const { ok, said } = await send(form.dataset.keepUrl, { name: opened, mark, pull: null });
    if (ok) location.assign(form.dataset.page);
    else at("kept").textContent = sentences(said);
  } catch {
    markStale();
    at("kept").textContent = "The laptop does not answer: nothing was done.";
  }
});

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!at("name")) return;
  const name = at("name").value.trim();
  const pull = {};
  for (const [key, value] of new FormData(form)) if (value !== "") pull[key] = value;
  pull.course = courseTexts();
  const mark = name === form.dataset.opened ? form.dataset.mark : "";
  try {
    const { ok, said } = await send(form.dataset.keepUrl, { name, mark, pull });
    at("kept").textContent = ok ? `Kept in shot ${name}.` : sentences(said);
    if (!ok) return;
    Object.assign(form.dataset, { mark: said.mark, opened: name });
    if (![...at("shot").options].some((one) => one.value === name)) at("shot").append(new Option(name, name));
    at("shot").value = name;
    at("to-card").hidden = at("take-out").hidden = false;
    at("to-card").href = `${form.dataset.page.replace(/light$/, "stop-pull-card")}?shot=${encodeURIComponent(name)}`;
  } catch {
    markStale();
    at("kept").textContent = "The laptop does not answer: nothing was kept. What you typed is still here.";
  }
});

// --- marks on the picture: dragged by a pointer, moved by arrow keys -------------------------------------------

const round = (value) => Number(value.toFixed(2));

function frame() {
  const room = document.querySelector(".pull-room");
  if (!room) return null;
  const [left, right, top, bottom, end, widest, smallest] = room.dataset.frame.split(" ").map(Number);
  const [width, height] = room.dataset.size.split(" ").map(Number);
  return { room, left, right, top, bottom, end, widest, smallest, width, height };
}

/** A T-number as it is written, in thirds of a stop. */
function stopText(t) {
  const whole = ["1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64"];
  const thirds = Math.max(Math.round(6 * Math.log2(t)), 0);
  return `T${whole[Math.min(Math.floor(thirds / 3), whole.length - 1)]}${["", " 1/3", " 2/3"][thirds % 3]}`;
}

/** Rows whose marks are stops can be moved on the picture; a depth or a blur is typed. */
function drawHandles(held) {
  const now = frame();
  if (!now) return;
  handles?.remove();
  handles = document.createElementNS(NS, "svg");
  handles.setAttribute("viewBox", `0 0 ${now.width} ${now.height}`);
  handles.setAttribute("class", "handles");
  handles.setAttribute("role", "group");
  handles.setAttribute("aria-label", "marks of the course");
  const rows = [...list.children];
  const order = rows.map((_, k) => k).sort((a, b) => secondsOf(rows[a]) - secondsOf(rows[b]));
  now.room.dataset.marks.split("|").forEach((text, k) => {
    const row = rows[order[k]];
    if (!row || row.querySelector("select").value !== "stop") return;
    const [seconds, t] = text.split(" ").map(Number);
    handles.append(handle(now, row, order[k], seconds, t));
  });
  now.room.append(handles);
  if (held !== undefined) handles.querySelector(`[data-handle="${CSS.escape(held)}"]`)?.focus();
}

/** The stop of each mark as it was moved last, ahead of the answer while keys are pressed quickly. */
const stops = new WeakMap();

const secondsOf = (row) => Number(row.querySelector("input").value) || 0;

function handle(now, row, index, seconds, t) {
  const dot = document.createElementNS(NS, "circle");
  const x = now.left + (Math.min(seconds / now.end, 1) || 0) * (now.right - now.left);
  const part = Math.log2(t / now.widest) / Math.log2(now.smallest / now.widest);
  const y = now.top + Math.min(Math.max(part, 0), 1) * (now.bottom - now.top);
  for (const [key, value] of Object.entries({ cx: x, cy: y, r: narrow.matches ? 14 : 12, tabindex: 0, role: "slider" })) {
    dot.setAttribute(key, String(value));
  }
  dot.dataset.handle = String(index);
  dot.setAttribute("aria-orientation", "vertical");
  dot.setAttribute("aria-label", `mark at ${seconds} seconds: up and down the stop, left and right the time`);
  dot.setAttribute("aria-valuenow", String(round(2 * Math.log2(t))));
  dot.setAttribute("aria-valuemin", String(round(2 * Math.log2(now.widest))));
  dot.setAttribute("aria-valuemax", String(round(2 * Math.log2(now.smallest))));
  dot.setAttribute("aria-valuetext", `${stopText(t)} at ${seconds} s`);
  stops.set(row, t);
  dot.addEventListener("keydown", (event) => byKey(event, row));
  return dot;
}

function setMark(row, seconds, t) {
  const [time, , much] = row.querySelectorAll("input, select");
  time.value = String(round(Math.min(Math.max(seconds, 0), LONGEST_S)));
  much.value = stopText(t);
  stops.set(row, t);
  followPull();
}

function byKey(event, row) {
  const moves = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
  const move = moves[event.key];
  if (!move) return;
  event.preventDefault();
  const now = frame();
  const stopped = Math.min(Math.max(stops.get(row) * 2 ** ((move[1] * STOPS_PER_KEY) / 2), now.widest), now.smallest);
  setMark(row, secondsOf(row) + move[0] * STEP_S, stopped);
}

let dragged = null;

/** A drag lives on the window, as the dot under the finger is drawn anew with each answer. */
document.addEventListener("pointerdown", (event) => {
  const index = event.target.dataset?.handle;
  if (index === undefined) return;
  event.preventDefault();
  event.target.focus();
  const now = frame();
  axis.held = now.end; // the axis must not move under the finger
  dragged = { row: list.children[Number(index)], now, pointer: event.pointerId };
});

addEventListener("pointermove", (event) => {
  if (!dragged || event.pointerId !== dragged.pointer) return;
  const { now, row } = dragged;
  const box = document.querySelector(".pull-room").getBoundingClientRect();
  const scale = now.width / box.width;
  const x = (event.clientX - box.left) * scale;
  const y = (event.clientY - box.top) * scale;
  const seconds = (Math.min(Math.max((x - now.left) / (now.right - now.left), 0), 1) * now.end * 20) | 0;
  const part = Math.min(Math.max((y - now.top) / (now.bottom - now.top), 0), 1);
  setMark(row, seconds / 20, now.widest * (now.smallest / now.widest) ** part);
});

for (const ended of ["pointerup", "pointercancel"]) {
  addEventListener(ended, (event) => {
    if (!dragged || event.pointerId !== dragged.pointer) return;
    dragged = null;
    axis.held = 0;
    followPull();
  });
}

narrow.addEventListener("change", followPull);
markSolved();
if (narrow.matches) followPull();
drawHandles();
