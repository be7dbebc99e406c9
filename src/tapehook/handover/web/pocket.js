// The pocket page: what is on the screen. Figures come from depth.js; what prep found stands in the page already.

import { depth, moveAt, ringPosition } from "./depth.js";
import { datumOf, DISTANCE_STEPS, distanceOn, fillField, focalOn, focalSliderAt, moveSlider, nextDistance, opticsAt, readDistance, readFocal, readStop, sliderAt, steppedByKeys, stopNear, stopsFrom, trustText, typable } from "./dials.js";
import { decimals, formatDistance, formatLimits, formatPlusMinus, formatPosition, formatSpan, parseDistance, parseTStop } from "./notation.js";
import { drawRule, drawScale } from "./rule.js";
import { search, searchEntry } from "./search.js";

const THUMB_PX = 36;
const WHOLE_STOPS = new Set(["0.7", "1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22"]);
const USUAL_FOCALS_MM = [50, 25, 35, 100, 18, 75, 135, 200, 300];
const SIGNS = { fix: "×", watch: "!", info: "i" };

const at = (id) => document.getElementById(id);
// Names as people wrote them, without what does not show or turns the direction of what stands beside them.
const clean = (text) => text.replace(/[\p{C}\p{Zl}\p{Zp}]/gu, " ");
const job = JSON.parse(at("job").textContent);
for (const lens of job.lenses) {
  if (lens.map) {
    lens.map.farM ??= Infinity;
    lens.map.farMarkM ??= Infinity;
  }
}
const entries = job.lenses.map(searchEntry);
const sheets = job.lenses.map((_, index) => at(`sheet-${index}`));

const widths = { scale: 220, rule: 336 };
const state = { index: -1, system: null, distanceM: 2, stop: null, stops: [], focalMm: null };

// --- what is kept between visits, where the phone allows it ----------------------------------------------------

function recall(key, choices) {
  try {
    const kept = localStorage.getItem(`tapehook-${key}`);
    return choices.includes(kept) ? kept : null;
  } catch {
    return null; // a page opened from a file may have no storage
  }
}

function keep(key, value) {
  try {
    localStorage.setItem(`tapehook-${key}`, value);
  } catch {
    // Nothing is lost but a preference.
  }
}

// --- the lens chosen -------------------------------------------------------------------------------------------

const lensNow = () => job.lenses[state.index];
const systemNow = () => state.system ?? lensNow().system;
const write = (distanceM) => formatDistance(distanceM, systemNow());

const opticsNow = () => opticsAt(lensNow(), state.focalMm);
const datumNow = () => datumOf(lensNow());

/** The range of the distance slider as it stands now, and how its distances are written. */
const rangeNow = () => ({ nearM: lensNow().nearM, nearKnown: lensNow().nearKnown, datumM: datumNow(), system: systemNow(), write });

function choose(index) {
  state.index = index;
  const lens = lensNow();
  state.stops = stopsFrom(lens, job.stops);
  const preferred = lens.shooting ?? lens.widest;
  state.stop = stopNear(state.stops, preferred?.t ?? 2.8);
  state.focalMm = lens.focalMinMm === null ? null : lens.focalMm;
  state.distanceM = distanceOn(rangeNow(), DISTANCE_STEPS / 2);
  showLens();
}

// --- showing it ------------------------------------------------------------------------------------------------

function showLens() {
  const lens = lensNow();
  document.body.dataset.view = "lens";
  at("live").hidden = false;
  at("lens-title").textContent = clean(lens.title);
  const camera = lens.camera ? `camera ${lens.camera}` : "";
  at("lens-line").textContent = clean([lens.id, lens.model, camera, lens.serial ? "" : "serial not read"].filter(Boolean).join(" · "));
  showAlarms(lens);
  showSheet(lens);
  const slider = at("stop-slider");
  slider.max = String(state.stops.length - 1);
  const isZoom = state.focalMm !== null;
  at("focal-setting").hidden = !isZoom;
  at("focal-row").hidden = !isZoom;
  at("focals").toggleAttribute("hidden", !isZoom);
  document.body.dataset.zoom = String(isZoom);
  for (const button of at("lenses").querySelectorAll("button")) {
    if (button.dataset.index === String(state.index)) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  }
  refuse("");
  layOut();
}

/** Measures the room and draws what depends on it and on the lens alone; measuring on each move would cost time. */
function layOut() {
  widths.rule = at("rule").clientWidth || widths.rule;
  widths.scale = at("stops").clientWidth || widths.scale;
  drawScale(at("stops"), stopMarks(), widths.scale, THUMB_PX, 20);
  if (state.focalMm !== null) drawScale(at("focals"), focalMarks(lensNow()), widths.scale, THUMB_PX, 44);
  show();
}

/** What must be fixed first stands above the figures; all findings stand below them. */
function showAlarms(lens) {
  const [first, ...others] = lens.alarms;
  at("alarm").hidden = first === undefined;
  const sentence = document.createElement("span");
  sentence.textContent = others.length ? `${first} And ${others.length} more to fix, below.` : (first ?? "");
  at("alarm").replaceChildren(severity("fix"), sentence);
}

function severity(kind) {
  const mark = document.createElement("span");
  mark.className = `severity ${kind}`;
  const sign = document.createElement("span");
  sign.setAttribute("aria-hidden", "true");
  sign.textContent = SIGNS[kind];
  mark.append(sign, ` ${kind}`);
  return mark;
}

function showSheet() {
  sheets.forEach((sheet, index) => {
    sheet.hidden = index !== state.index;
    sheet.open = index === state.index;
  });
  at("tables").hidden = false;
}

/** Every figure on the screen from the state: called on each move of a slider. */
function show() {
  const lens = lensNow();
  const optics = opticsNow();
  fillField(at("distance"), write(state.distanceM));
  fillField(at("stop"), state.stop.text);
  moveSlider(at("distance-slider"), sliderAt(rangeNow(), state.distanceM), write(state.distanceM));
  moveSlider(at("stop-slider"), state.stops.indexOf(stopNear(state.stops, state.stop.t)), state.stop.text);
  if (state.focalMm !== null) showFocal(lens);
  for (const system of ["metric", "imperial"]) at(system).setAttribute("aria-pressed", String(system === systemNow()));
  showRing(lens);
  const answer = optics && depth(optics, state.stop.t, state.distanceM);
  if (answer) showDepth(answer, optics);
  else showNoDepth("No focal length, so no depth of field.");
  const view = {
    focusM: state.distanceM,
    nearM: answer && answer.nearM < answer.farM ? answer.nearM : null,
    farM: answer ? answer.farM : null,
    texts: { near: at("near").textContent, far: at("far").textContent },
    nearEndM: lens.nearM,
    datumM: datumNow(),
    write,
  };
  drawRule(at("rule"), view, systemNow(), widths.rule, THUMB_PX);
}

/** The widest stop and the whole ones, where the slider has them. */
function stopMarks() {
  const last = Math.max(state.stops.length - 1, 1);
  const marks = state.stops.map((stop, index) => ({ part: index / last, text: index ? stop.text.slice(1) : stop.text }));
  return marks.filter((mark) => mark.part === 0 || WHOLE_STOPS.has(mark.text));
}

/** Both ends of a zoom, and usual focal lengths between them. */
function focalMarks(lens) {
  const between = [...USUAL_FOCALS_MM].filter((mm) => mm > lens.focalMinMm && mm < lens.focalMm);
  const part = (mm) => Math.log(mm / lens.focalMinMm) / Math.log(lens.focalMm / lens.focalMinMm);
  const ends = [lens.focalMm, lens.focalMinMm].map((mm) => ({ part: part(mm), text: `${decimals(mm, 1)} mm` }));
  return [...ends, ...between.map((mm) => ({ part: part(mm), text: decimals(mm, 1) }))];
}

function showFocal(lens) {
  const text = `${decimals(state.focalMm, 1)} mm`;
  fillField(at("focal"), decimals(state.focalMm, 1));
  moveSlider(at("focal-slider"), focalSliderAt(lens, state.focalMm), text);
}

function showDepth(answer, optics) {
  if (Number.isNaN(answer.nearM)) return showNoDepth("Nearer than this lens can focus at this focal length.");
  if (answer.halfWidthDpt === 0) {
    return showNoDepth("No depth: the blur left at best focus is all that passes as sharp.");
  }
  const total = answer.farM - answer.nearM;
  const [near, far] = formatLimits(answer.nearM, answer.farM, systemNow());
  const texts = { near, total: formatSpan(total, systemNow()), far };
  for (const [id, text] of Object.entries(texts)) at(id).textContent = text;
  at("trust").textContent = trustText(answer, optics);
  at("hyperfocal").textContent = write(answer.hyperfocalM);
  at("hyperfocal-stop").textContent = `at ${state.stop.text}`;
  at("depth-words").textContent =
    `Sharp from ${texts.near} to ${texts.far} with the focus at ${write(state.distanceM)}, ${state.stop.text}`;
  document.body.dataset.depth = "yes";
}

function showNoDepth(sentence) {
  for (const id of ["near", "total", "far", "hyperfocal", "hyperfocal-stop"]) at(id).textContent = id === "total" ? "" : "–";
  at("hyperfocal-stop").textContent = "";
  at("trust").textContent = sentence;
  at("depth-words").textContent = sentence;
  document.body.dataset.depth = "no";
}

function showRing(lens) {
  const found = lens.map && ringPosition(lens.map, state.distanceM, state.stop.t);
  at("ring").textContent = found ? formatPosition(found.position, lens.unit, lens.step) : "–";
  at("ring-plus-minus").textContent = found ? `+- ${formatPlusMinus(found.plusMinus, lens.unit)}` : "";
  at("ring-note").textContent = ringNote(lens);
}

function ringNote(lens) {
  const notes = lens.nearKnown ? [] : [`Close focus not known: the slider starts at ${write(lens.nearM)}.`];
  if (lens.noMap) return [lens.noMap, ...notes].join(" ");
  if (state.distanceM > lens.map.farMarkM) notes.push(`Beyond the last mark read, ${write(lens.map.farMarkM)}.`);
  if (state.distanceM < lens.map.nearMarkM * (1 - 1e-9)) notes.push(`Nearer than the first mark read, ${write(lens.map.nearMarkM)}.`);
  if (lens.oneWay) notes.push(lens.oneWay);
  const move = moveAt(lens.map, state.stop.t);
  if (move?.words) notes.push(move.words);
  return notes.join(" ");
}

// --- what people do --------------------------------------------------------------------------------------------

function refuse(sentence) {
  at("refusal").textContent = sentence;
}

function setDistance(distanceM) {
  state.distanceM = distanceM;
  show();
}

function setStop(index) {
  state.stop = state.stops[Math.min(Math.max(index, 0), state.stops.length - 1)];
  show();
}

const stopIndex = () => state.stops.indexOf(stopNear(state.stops, state.stop.t));

/** To the next slider stop in a direction, also from a stop that was typed between two. */
function stepStop(way) {
  const beside = state.stops.filter((stop) => (way > 0 ? stop.t > state.stop.t * 1.0001 : stop.t < state.stop.t * 0.9999));
  if (beside.length) setStop(state.stops.indexOf(way > 0 ? beside[0] : beside.at(-1)));
}

function setFocal(mm) {
  const { focalMinMm, focalMm } = lensNow();
  state.focalMm = Math.min(Math.max(mm, focalMinMm), focalMm);
  show();
}

const typeDistance = (text) => setDistance(readDistance(text, rangeNow(), opticsNow()));
const typeFocal = (text) => setFocal(readFocal(text, lensNow()));

function typeStop(text) {
  const t = readStop(text, lensNow());
  const close = stopNear(state.stops, t);
  state.stop = Math.abs(close.t / t - 1) < 1e-6 ? close : { text: `T${decimals(t, 2)}`, t };
  show();
}

const stepDistance = (way) => setDistance(nextDistance(rangeNow(), state.distanceM, way));
const stepFocal = (way) => setFocal(way > 0 ? Math.floor(state.focalMm + 1.001) : Math.ceil(state.focalMm - 1.001));

function wireControls() {
  typable(at("distance"), { apply: typeDistance, refuse, show });
  typable(at("stop"), { apply: typeStop, refuse, show });
  typable(at("focal"), { apply: typeFocal, refuse, show });
  at("distance-slider").addEventListener("input", (event) => setDistance(distanceOn(rangeNow(), Number(event.target.value))));
  at("stop-slider").addEventListener("input", (event) => setStop(Number(event.target.value)));
  at("focal-slider").addEventListener("input", (event) => setFocal(focalOn(lensNow(), Number(event.target.value))));
  steppedByKeys(at("distance-slider"), stepDistance, [() => setDistance(lensNow().nearM), () => setDistance(Infinity)]);
  steppedByKeys(at("stop-slider"), stepStop, [() => setStop(0), () => setStop(state.stops.length - 1)]);
  steppedByKeys(at("focal-slider"), stepFocal, [() => setFocal(lensNow().focalMinMm), () => setFocal(lensNow().focalMm)]);
  const buttons = { nearer: () => stepDistance(-1), farther: () => stepDistance(1), open: () => stepStop(-1) };
  Object.assign(buttons, { close: () => stepStop(1), shorter: () => stepFocal(-1), longer: () => stepFocal(1) });
  for (const [id, act] of Object.entries(buttons)) at(id).addEventListener("click", act);
}

// --- finding a lens --------------------------------------------------------------------------------------------

function lensButton(lens, index) {
  const button = document.createElement("button");
  button.type = "button";
  button.dataset.index = String(index);
  const title = document.createElement("bdi");
  title.className = "lens-name";
  title.textContent = clean(lens.title);
  const line = document.createElement("bdi");
  line.className = "quiet";
  line.textContent = clean([lens.id, lens.model, lens.camera ? `camera ${lens.camera}` : ""].filter(Boolean).join(" · "));
  button.append(title, line);
  if (lens.worst === "fix" || lens.worst === "watch") button.append(severity(lens.worst));
  button.addEventListener("click", () => go(index));
  const item = document.createElement("li");
  item.append(button);
  return item;
}

const items = job.lenses.map(lensButton);

function showFound() {
  const found = search(entries, at("search").value);
  at("lenses").replaceChildren(...found.map((index) => items[index]));
  const all = job.lenses.length;
  const word = all === 1 ? "lens" : "lenses";
  at("found").textContent = found.length === all ? `${all} ${word}` : `${found.length} of ${all} ${word}`;
  return found;
}

function wireSearch() {
  at("search").addEventListener("input", showFound);
  at("search").addEventListener("keydown", (event) => {
    const [first] = event.key === "Enter" ? showFound() : [];
    if (first !== undefined) go(first);
    if (event.key === "ArrowDown") focusItem(event, 0);
  });
  at("lenses").addEventListener("keydown", (event) => {
    const way = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const shown = [...at("lenses").querySelectorAll("button")];
    if (way) focusItem(event, shown.indexOf(document.activeElement) + way);
  });
}

function focusItem(event, place) {
  event.preventDefault();
  const shown = at("lenses").querySelectorAll("button");
  (shown[place] ?? at("search")).focus();
}

/** Opens a lens by its address, so that the phone's own way back leads to the list. */
function go(index) {
  const address = `#${encodeURIComponent(job.lenses[index].id)}`;
  if (location.hash === address) choose(index);
  else location.hash = address;
}

function followAddress() {
  const wanted = decodeAddress(location.hash.slice(1));
  const index = job.lenses.findIndex((lens) => lens.id === wanted);
  if (index >= 0) {
    choose(index);
    scrollTo(0, 0);
    at("lens-title").focus({ preventScroll: true });
  } else showFinder();
}

function decodeAddress(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return ""; // not one of our addresses
  }
}

const isWide = () => matchMedia("(min-width: 800px)").matches;

function showFinder() {
  document.body.dataset.view = "find";
  if (isWide() && job.lenses.length) choose(0);
  else at("tables").hidden = true;
}

// --- the look --------------------------------------------------------------------------------------------------

function setTheme(name) {
  document.documentElement.dataset.theme = name;
  at("theme").textContent = name === "dark" ? "light" : "dark";
  at("theme").setAttribute("aria-label", `${at("theme").textContent} theme`);
}

function wireSwitches() {
  const isLight = matchMedia("(prefers-color-scheme: light)").matches;
  setTheme(recall("theme", ["dark", "light"]) ?? (isLight ? "light" : "dark"));
  state.system = recall("system", ["metric", "imperial"]);
  at("theme").addEventListener("click", () => {
    const name = document.documentElement.dataset.theme === "dark" ? "light" : "dark";
    setTheme(name);
    keep("theme", name);
  });
  for (const system of ["metric", "imperial"]) {
    at(system).addEventListener("click", () => {
      state.system = system;
      keep("system", system);
      for (const other of ["metric", "imperial"]) at(other).setAttribute("aria-pressed", String(other === system));
      if (state.index >= 0) show();
    });
  }
}

function start() {
  document.documentElement.classList.add("scripted");
  at("switches").hidden = false;
  at("finder").hidden = false;
  for (const sheet of sheets) sheet.hidden = true;
  wireSwitches();
  wireControls();
  wireSearch();
  showFound();
  at("back").addEventListener("click", () => {
    location.hash = "";
    at("search").focus();
  });
  addEventListener("hashchange", followAddress);
  new ResizeObserver(() => {
    if (state.index >= 0) layOut();
  }).observe(at("rule"));
  followAddress();
}

start();

/** For tests and the curious: the arithmetic behind the figures. */
globalThis.tapehook = {
  depth,
  ringPosition,
  parseDistance,
  parseTStop,
  formatDistance,
  formatLimits,
  formatPosition,
  search,
  searchEntry,
  job,
  shown: () => lensNow()?.id,
};
