// The pocket page: what is on the screen. Figures come from depth.js; what prep found stands in the page already.

import { depth, moveAt, nearestPossibleM, ringPosition, thinPupil } from "./depth.js";
import { decimals, formatDistance, formatLimits, formatPlusMinus, formatPosition, formatSpan, parseDistance, parseTStop, shownStepM } from "./notation.js";
import { drawRule, drawScale, roundStepM, textEms } from "./rule.js";
import { search, searchEntry } from "./search.js";

const THUMB_PX = 36;
const SLIDER_STEPS = 1000;
const FOCAL_STEPS = 200;
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

/** Optics of the lens as set: a zoom away from its long end has no pupil data. */
function opticsNow() {
  const { optics, focalMm } = lensNow();
  if (!optics || state.focalMm === null || state.focalMm === focalMm) return optics;
  return { ...optics, focalM: state.focalMm * 1e-3, pupil: null };
}

/** Where vergence is counted from on the slider: the entrance pupil at infinity focus, or the map's own datum. */
function datumNow() {
  const { optics, map } = lensNow();
  if (optics) return (optics.pupil ?? thinPupil(optics.focalM)).toSensorM;
  return map ? map.datumM : 0;
}

const nearestVergence = () => 1 / (lensNow().nearM - datumNow());
const sliderOf = (distanceM) => SLIDER_STEPS * (1 - 1 / (distanceM - datumNow()) / nearestVergence());

function distanceAt(slider) {
  const q = nearestVergence() * (1 - slider / SLIDER_STEPS);
  return q > 0 ? onRoundStep(datumNow() + 1 / q) : Infinity;
}

/** About a slider step, as a round length at that distance, and never finer than what is shown. */
function roundStepAt(distanceM) {
  const u = distanceM - datumNow();
  const slide = (u * u * nearestVergence()) / SLIDER_STEPS / 1.5;
  return roundStepM(Math.max(slide, shownStepM(distanceM, systemNow())), systemNow());
}

function onRoundStep(distanceM) {
  const step = roundStepAt(distanceM);
  return Math.max(Math.round(distanceM / step) * step, lensNow().nearM);
}

/** The next round distance outward or inward. */
function stepped(distanceM, way) {
  const slider = sliderOf(distanceM);
  if (distanceM === Infinity) return way > 0 ? Infinity : distanceAt(SLIDER_STEPS - 1);
  const step = roundStepAt(distanceM);
  const count = way > 0 ? Math.floor(distanceM / step + 1e-6) + 1 : Math.ceil(distanceM / step - 1e-6) - 1;
  if (way > 0 && (slider >= SLIDER_STEPS - 1 || sliderOf(count * step) > SLIDER_STEPS - 0.5)) return Infinity;
  return Math.max(count * step, lensNow().nearM);
}

/** Stops of a lens: its widest, then thirds to T22; all thirds when the widest is not known. */
function stopsOf(lens) {
  const widest = lens.widest?.t ?? 0;
  const stops = job.stops.filter((stop) => stop.t > widest * 1.02 && (widest || stop.t >= 1));
  if (lens.widest) stops.unshift(lens.widest);
  for (const extra of [lens.shooting]) {
    const isThere = !extra || stops.some((stop) => Math.abs(stop.t / extra.t - 1) < 5e-3);
    if (!isThere && extra.t > widest) stops.push(extra);
  }
  return stops.sort((a, b) => a.t - b.t);
}

function nearestStop(t) {
  const far = (stop) => Math.abs(Math.log(stop.t / t));
  return state.stops.reduce((best, stop) => (far(stop) < far(best) ? stop : best));
}

function choose(index) {
  state.index = index;
  const lens = lensNow();
  state.stops = stopsOf(lens);
  const preferred = lens.shooting ?? lens.widest;
  state.stop = preferred ? nearestStop(preferred.t) : nearestStop(2.8);
  state.focalMm = lens.focalMinMm === null ? null : lens.focalMm;
  state.distanceM = distanceAt(SLIDER_STEPS / 2);
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
  fillIn("distance", write(state.distanceM));
  fillIn("stop", state.stop.text);
  moveSlider("distance-slider", sliderOf(state.distanceM), write(state.distanceM));
  moveSlider("stop-slider", state.stops.indexOf(nearestStop(state.stop.t)), state.stop.text);
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

function fillIn(id, text) {
  const input = at(id);
  if (document.activeElement !== input || !input.dataset.typing) input.value = text;
  fit(input);
}

/** Makes a figure's field as wide as what stands in it. */
function fit(input) {
  input.style.setProperty("--wide", textEms(input.value).toFixed(2));
}

function moveSlider(id, value, words) {
  const slider = at(id);
  slider.value = String(value);
  slider.setAttribute("aria-valuetext", words);
}

function showFocal(lens) {
  const text = `${decimals(state.focalMm, 1)} mm`;
  fillIn("focal", decimals(state.focalMm, 1));
  const part = Math.log(state.focalMm / lens.focalMinMm) / Math.log(lens.focalMm / lens.focalMinMm);
  moveSlider("focal-slider", FOCAL_STEPS * part, text);
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

/** How far the depth can be trusted, and what was assumed in it. */
function trustText(answer, optics) {
  const assumed = [];
  if (!optics.pupil) assumed.push("a thin lens");
  if (optics.transmission === null) assumed.push("85 % transmission");
  const because = assumed.length ? `, assumed: ${assumed.join(" and ")}` : "";
  if (answer.uncertainty > 1) return `Too near to trust without pupil data: +- more than the whole depth${because}`;
  if (answer.uncertainty === 0) return "Depth from the pupil data of this lens";
  return `Depth +- ${decimals(answer.uncertainty * 100, 0)} % of its width${because}`;
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

const stopIndex = () => state.stops.indexOf(nearestStop(state.stop.t));

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

/** What was typed for the distance: held to the range of the lens, and said when it lies outside. */
function typeDistance(text) {
  const distanceM = parseDistance(text, systemNow() === "metric" ? "m" : "ft");
  const nearM = lensNow().nearM;
  if (distanceM < nearM * (1 - 1e-6)) {
    throw new Error(`${write(distanceM)} is nearer than ${lensNow().nearKnown ? "close focus" : "the end of the slider"}, ${write(nearM)}`);
  }
  const nearest = opticsNow() && nearestPossibleM(opticsNow().focalM, opticsNow().pupil ?? thinPupil(opticsNow().focalM));
  if (nearest && distanceM < nearest) throw new Error(`${write(distanceM)} is nearer than this lens can focus at all`);
  setDistance(Math.max(distanceM, nearM));
}

function typeStop(text) {
  const t = parseTStop(text);
  const { widest } = lensNow();
  if (widest && t < widest.t * (1 - 5e-3)) throw new Error(`T${decimals(t, 2)} is wider than this lens opens, ${widest.text}`);
  const close = nearestStop(t);
  state.stop = Math.abs(close.t / t - 1) < 1e-6 ? close : { text: `T${decimals(t, 2)}`, t };
  show();
}

function typeFocal(text) {
  const mm = Number(text.replace(/mm\.?$/i, "").trim().replace(",", "."));
  const { focalMinMm, focalMm } = lensNow();
  if (!(mm >= focalMinMm && mm <= focalMm)) {
    throw new Error(`“${text.slice(0, 60)}” is outside this zoom; expected ${decimals(focalMinMm, 1)} to ${decimals(focalMm, 1)} mm`);
  }
  setFocal(mm);
}

/** A big figure that can be typed into: Enter or leaving it applies, Escape gives the old one back. */
function typable(id, apply) {
  const input = at(id);
  const done = () => {
    if (!input.dataset.typing) return true;
    try {
      delete input.dataset.typing;
      refuse("");
      apply(input.value);
      input.removeAttribute("aria-invalid");
      return true;
    } catch (error) {
      input.setAttribute("aria-invalid", "true");
      refuse(`${error.message}.`);
      return false;
    }
  };
  input.addEventListener("focus", () => input.select());
  input.addEventListener("input", () => {
    input.dataset.typing = "yes";
    fit(input);
  });
  input.addEventListener("blur", () => {
    if (!done()) show();
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && done()) input.select();
    if (event.key === "Escape") {
      delete input.dataset.typing;
      input.removeAttribute("aria-invalid");
      refuse("");
      show();
    }
  });
}

const KEY_STEPS = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -5, PageUp: 5 };

/** Arrow keys on a slider go by round steps; Home and End to the ends of the lens. */
function steppedByKeys(id, step, ends) {
  at(id).addEventListener("keydown", (event) => {
    const count = KEY_STEPS[event.key];
    const end = { Home: 0, End: 1 }[event.key];
    if (count === undefined && end === undefined) return;
    event.preventDefault();
    if (end !== undefined) ends[end]();
    for (let i = 0; i < Math.abs(count ?? 0); i += 1) step(Math.sign(count));
  });
}

const stepDistance = (way) => setDistance(stepped(state.distanceM, way));
const stepFocal = (way) => setFocal(way > 0 ? Math.floor(state.focalMm + 1.001) : Math.ceil(state.focalMm - 1.001));

function wireControls() {
  typable("distance", typeDistance);
  typable("stop", typeStop);
  typable("focal", typeFocal);
  at("distance-slider").addEventListener("input", (event) => setDistance(distanceAt(Number(event.target.value))));
  at("stop-slider").addEventListener("input", (event) => setStop(Number(event.target.value)));
  at("focal-slider").addEventListener("input", (event) => {
    const { focalMinMm, focalMm } = lensNow();
    setFocal(Math.round(focalMinMm * (focalMm / focalMinMm) ** (Number(event.target.value) / FOCAL_STEPS)));
  });
  steppedByKeys("distance-slider", stepDistance, [() => setDistance(lensNow().nearM), () => setDistance(Infinity)]);
  steppedByKeys("stop-slider", stepStop, [() => setStop(0), () => setStop(state.stops.length - 1)]);
  steppedByKeys("focal-slider", stepFocal, [() => setFocal(lensNow().focalMinMm), () => setFocal(lensNow().focalMm)]);
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
