// On set: one camera at arm's length. Depth comes from depth.js, the module of the pocket page; no server is asked for
// any figure: all of it goes on when the network drops. Who carries which lens the server keeps; swaps are sent when it is back.

import { depth, moveAt, ringPosition } from "./web/depth.js";
import { datumOf, DISTANCE_STEPS, distanceOn, fillField, focalOn, focalSliderAt, moveSlider, nextDistance, opticsAt, readDistance, readFocal, readStop, sliderAt, steppedByKeys, stopNear, stopsFrom, trustText, typable } from "./web/dials.js";
import { decimals, formatDistance, formatLimits, formatPlusMinus, formatPosition, formatSpan, parseDistance } from "./web/notation.js";
import { drawRule } from "./web/rule.js";
import { search, searchEntry } from "./web/search.js";
import { at, isBehind, node, onChange, send } from "./live.js";
import { budgetAt, budgetThrough, depthThrough, drawBudget, percent, placeText, rangeNote, usedAt } from "./onset_figures.js";

const job = JSON.parse(at("data").textContent);
const THUMB_PX = 36;
const CATCH_UP_MS = 700;
const KEY = `tapehook-onset-${document.body.dataset.job}`;

function prepare(lenses) {
  for (const lens of lenses) {
    if (lens.map) {
      lens.map.farM ??= Infinity;
      lens.map.farMarkM ??= Infinity;
    }
    if (lens.budget) lens.budget.distanceM = lens.budget.distanceM.map((value) => value ?? Infinity);
  }
}
prepare(job.lenses);

// --- what this device remembers --------------------------------------------------------------------------------

function recall() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "{}");
  } catch {
    return {};
  }
}

const kept = { camera: null, system: null, cameras: {}, unsent: {}, ...recall() };

function keep() {
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
  } catch {
    // It is still in the page.
  }
}

const state = { letter: null, lens: null, distanceM: 2, stop: null, stops: [], focalMm: null, extended: false, tags: [], extras: {} };

const systemNow = () => kept.system ?? state.lens?.system ?? "metric";
const write = (distanceM) => formatDistance(distanceM, systemNow());

// --- which lens ------------------------------------------------------------------------------------------------

function lensOn(letter) {
  const unsent = kept.unsent[letter];
  if (unsent !== undefined) return job.lenses.find((lens) => lens.key === unsent) ?? null;
  const mounted = job.lenses.find((lens) => lens.on === letter);
  return mounted ?? job.lenses.find((lens) => carries(letter, lens)) ?? job.lenses[0] ?? null;
}

/** True where the job says that a camera carries this lens; one that names none is shared by all. */
const carries = (letter, lens) => !lens.camera || lens.camera.split(" ").includes(letter);

function chooseCamera(letter) {
  remember();
  state.letter = letter;
  kept.camera = letter;
  keep();
  chooseLens(lensOn(letter));
}

/** Notes where this camera stands, so that A, B and C each come back as they were left. */
function remember() {
  if (!state.letter || !state.lens) return;
  const distance = state.distanceM === Infinity ? null : state.distanceM;
  kept.cameras[state.letter] = { lens: state.lens.key, distance, t: state.stop.t, text: state.stop.text, focal: state.focalMm, extended: state.extended, tags: state.tags, extras: state.extras };
  keep();
}

function chooseLens(lens) {
  const was = kept.cameras[state.letter];
  const isSame = was && lens && was.lens === lens.key;
  state.lens = lens;
  state.tags = was?.tags ?? [];
  state.extras = was?.extras ?? {};
  if (lens) {
    state.stops = stopsFrom(lens, job.stops);
    const preferred = lens.shooting ?? lens.widest ?? { t: 2.8 };
    state.stop = isSame ? nearStop({ t: was.t, text: was.text }) : nearStop(preferred);
    state.extended = Boolean(isSame && was.extended && lens.extender);
    state.focalMm = lens.focalMinMm === null ? null : Math.min(Math.max((isSame && was.focal) || lens.focalMm, lens.focalMinMm), lens.focalMm);
    state.distanceM = isSame ? Math.max(was.distance ?? Infinity, nearNow()) : distanceOn(rangeNow(), DISTANCE_STEPS / 2);
  }
  showLens();
}

/** The slider's stop nearest to one; that stop itself where it was typed between two. */
function nearStop(wanted) {
  const near = stopNear(state.stops, wanted.t);
  if (Math.abs(Math.log(near.t / wanted.t)) < 1e-6 || !wanted.text) return near;
  return wanted.t >= state.stops[0].t ? wanted : near;
}

// --- the extender ------------------------------------------------------------------------------------------------

const extenderNow = () => (state.extended ? state.lens.extender : null);

/** How far the lens stands from where it would without the extender: all its marks count from there. */
const shiftM = () => extenderNow()?.lengthM ?? 0;

/** The nearest subject, metres from the sensor. */
const nearNow = () => state.lens.nearM + shiftM();

/** The stop it works at, as a T-number: of the ring's stop times the factor. */
const worksAt = () => `T${decimals(state.stop.t * extenderNow().factor, 1)}`;

/** What shares hold for: the stop the picture has. */
const stopShown = () => (extenderNow() ? worksAt() : state.stop.text);

function showExtender() {
  const { extender, optics } = state.lens;
  at("extender-row").hidden = !extender;
  if (!extender) return;
  at("extender").checked = state.extended;
  at("extender-label").textContent = `with the ${decimals(extender.factor, 2)}x`;
  const focalMm = state.focalMm ?? (optics ? optics.focalM * 1e3 : null);
  const focal = focalMm === null ? "" : `${decimals(focalMm * extender.factor, 0)} mm, `;
  const taped = extender.lengthM ? `; taped from the sensor, its ${decimals(extender.lengthM * 1e3, 0)} mm are reckoned with` : "; its length is not known: take it off each taped distance";
  at("extender-words").textContent = state.extended ? `${focal}${state.stop.text} on the ring works at ${worksAt()}${taped}` : "";
}

// --- the place on the rule -------------------------------------------------------------------------------------

const opticsNow = () => opticsAt(state.lens, state.focalMm);
const datumNow = () => datumOf(state.lens) + shiftM();

/** The range of the distance slider as it stands now, and how its distances are written. */
const rangeNow = () => ({ nearM: nearNow(), nearKnown: state.lens.nearKnown, datumM: datumNow(), system: systemNow(), write });

// --- showing ---------------------------------------------------------------------------------------------------

function showCameras() {
  const buttons = job.cameras.map(({ letter, name, colour }) => {
    const button = node("button", { type: "button" }, node("bdi", { textContent: letter }));
    button.setAttribute("aria-label", `camera ${letter}${name ? `, ${name}` : ""}`);
    button.dataset.letter = letter;
    if (colour) button.dataset.colour = colour;
    button.addEventListener("click", () => chooseCamera(letter));
    return button;
  });
  at("cameras").replaceChildren(...buttons);
}

let widthPx = 336;

function showLens() {
  for (const button of at("cameras").children) button.setAttribute("aria-pressed", String(button.dataset.letter === state.letter));
  const { lens } = state;
  document.body.dataset.lens = lens ? "yes" : "no";
  at("to-swap").hidden = !lens;
  if (!lens) {
    at("lens-line").textContent = "No lens in this job yet.";
    return;
  }
  const serial = lens.serial ? `serial ${lens.serial}` : "serial not read";
  const title = lens.title.includes(lens.serial ?? "\u0000") || lens.title.includes("serial") ? lens.title : `${lens.title} · ${serial}`;
  at("lens-line").textContent = `${title}${lens.map ? ` · map of ${lens.measuredAt?.slice(0, 10) ?? "no date"}` : " · no map"}`;
  const [alarm] = lens.alarms;
  at("alarm").hidden = alarm === undefined;
  at("alarm").textContent = alarm === undefined ? "" : `× fix: ${alarm}`;
  at("stop-slider").max = String(state.stops.length - 1);
  const isZoom = state.focalMm !== null;
  at("focal-setting").hidden = !isZoom;
  at("focal-row").hidden = !isZoom;
  at("to-bench").href = `/job/${document.body.dataset.job}/bench/${lens.key}`;
  at("to-swap").href = `/job/${document.body.dataset.job}/swap/${lens.key}`;
  at("range-note").textContent = rangeNote(lens, write);
  showExtras();
  refuse("");
  widthPx = at("rule").clientWidth || widthPx;
  show();
}

/** Where the ends of the sliders come from. */
/** Every figure from the state: called on each move of a slider. */
function show() {
  const { lens } = state;
  const optics = opticsNow();
  fillField(at("distance"), write(state.distanceM));
  fillField(at("stop"), state.stop.text);
  slide("distance", sliderAt(rangeNow(), state.distanceM), write(state.distanceM));
  slide("stop", state.stops.indexOf(nearStop({ t: state.stop.t })), state.stop.text);
  if (state.focalMm !== null) showFocal();
  showRing(lens);
  const answer = optics && depthThrough(optics, extenderNow(), state.stop.t, state.distanceM);
  showExtender();
  const isSharp = Boolean(answer) && answer.nearM < answer.farM;
  showDepth(answer, optics, isSharp);
  drawRule(at("rule"), viewOf(answer, isSharp), systemNow(), widthPx, THUMB_PX);
  showLadder(isSharp ? answer : null);
  showBudget(answer && answer.halfWidthDpt > 0 ? answer : null);
}

function viewOf(answer, isSharp) {
  return {
    focusM: state.distanceM,
    nearM: isSharp ? answer.nearM : null,
    farM: answer ? answer.farM : null,
    texts: { near: at("near").textContent, far: at("far").textContent },
    nearEndM: nearNow(),
    datumM: datumNow(),
    write,
  };
}

function slide(id, value, words) {
  moveSlider(at(`${id}-slider`), value, words);
  const out = at(`${id}-out`);
  if (out) out.textContent = words;
}

function showFocal() {
  const text = `${decimals(state.focalMm, 1)} mm`;
  fillField(at("focal"), text);
  slide("focal", focalSliderAt(state.lens, state.focalMm), text);
}

function showRing(lens) {
  const found = lens.map && ringPosition(lens.map, state.distanceM - shiftM(), state.stop.t, extenderNow()?.factor ?? 1);
  at("ring").textContent = found ? formatPosition(found.position, lens.unit, lens.step) : "–";
  at("ring-plus-minus").textContent = found ? `+- ${formatPlusMinus(found.plusMinus, lens.unit)}` : (lens.noMap ?? "outside the map");
  const move = moveAt(lens.map, state.stop.t);
  const less = move?.glassUm && extenderNow() ? ` On the ${decimals(extenderNow().factor, 2)}x the glass moves it 1/${decimals(extenderNow().factor ** 2, 2)} of that.` : "";
  const words = move ? move.words + less : "";
  at("move-note").textContent = words;
  at("move-note").hidden = !words;
}

function showDepth(answer, optics, isSharp) {
  if (!isSharp) {
    for (const id of ["near", "total", "far"]) at(id).textContent = "–";
    const sentence = !answer ? "No focal length, so no depth of field." : Number.isNaN(answer.nearM) ? "Nearer than this lens can focus." : "No depth: the blur left at best focus is all that passes as sharp.";
    at("trust").textContent = sentence;
    at("depth-words").textContent = sentence;
    return;
  }
  const [near, far] = formatLimits(answer.nearM, answer.farM, systemNow());
  at("near").textContent = near;
  at("far").textContent = far;
  at("total").textContent = formatSpan(answer.farM - answer.nearM, systemNow());
  at("trust").textContent = trustText(answer, optics);
  at("depth-words").textContent = `Sharp from ${near} to ${far} with the focus at ${write(state.distanceM)}, ${stopShown()}`;
}

// --- people and marks in the shot -------------------------------------------------------------------------------

function showLadder(answer) {
  const rows = state.tags.map((tag, index) => {
    const share = answer ? usedAt(tag.distanceM ?? Infinity, answer) : NaN;
    const isSoft = !(share <= 1);
    const verdict = node("span", { className: isSoft ? "verdict soft" : "verdict sharp" });
    verdict.append(node("span", { textContent: isSoft ? "×" : "✓", ariaHidden: "true" }), ` ${isSoft ? "soft" : "sharp"}`);
    if (Number.isFinite(share)) verdict.append(` ${percent(share)}`);
    const remove = node("button", { type: "button", className: "small", textContent: "×" });
    remove.setAttribute("aria-label", `take ${tag.name} off`);
    remove.addEventListener("click", () => {
      state.tags = state.tags.filter((_, other) => other !== index);
      remember();
      show();
    });
    const follow = node("button", { type: "button", className: "tag", textContent: tag.name });
    follow.setAttribute("aria-label", `focus on ${tag.name}`);
    follow.addEventListener("click", () => setDistance(Math.max(tag.distanceM ?? Infinity, nearNow())));
    return node("li", {}, follow, node("span", { className: "at", textContent: write(tag.distanceM ?? Infinity) }), verdict, remove);
  });
  at("ladder").replaceChildren(...rows);
  at("ladder-title").textContent = state.tags.length ? `In the shot, depth used at ${stopShown()}` : "In the shot";
}

at("tag").addEventListener("submit", (event) => {
  event.preventDefault();
  const name = at("tag-name").value.trim();
  try {
    const typed = at("tag-distance").value;
    const distanceM = typed.trim() ? parseDistance(typed, systemNow() === "metric" ? "m" : "ft") : state.distanceM;
    state.tags = [...state.tags, { name: name || `mark ${state.tags.length + 1}`, distanceM: distanceM === Infinity ? null : distanceM }].slice(-12);
    state.tags.sort((a, b) => (a.distanceM ?? Infinity) - (b.distanceM ?? Infinity));
    at("tag-name").value = "";
    at("tag-distance").value = "";
    refuse("");
    remember();
    show();
  } catch (error) {
    refuse(`${error.message}.`);
  }
});

// --- the focus budget -------------------------------------------------------------------------------------------

function showBudget(answer) {
  const { budget } = state.lens;
  at("budget-card").hidden = !(budget && answer);
  if (!budget || !answer) return;
  const { terms, own, total } = budgetAt(budgetThrough(budget, extenderNow()), datumNow() - shiftM(), state.distanceM - shiftM(), answer.halfWidthDpt, state.stop.t);
  at("budget-title").textContent = `focus budget at ${stopShown()}`;
  at("budget-own").textContent = `${percent(own)} by the lens`;
  at("budget-total").textContent = total > own ? `${percent(total)} with what comes on set; 100 % = soft` : "100 % = soft";
  const shown = terms.filter((term) => term.share >= 0.005).sort((a, b) => b.share - a.share);
  at("budget-words").textContent = shown.map((term) => `${term.name} ${percent(term.share)}${term.assumed ? " (assumed)" : ""}`).join(" · ");
  drawBudget(at("budget"), shown);
}

// --- extra motors -----------------------------------------------------------------------------------------------

function showExtras() {
  const motors = job.motors.filter((motor) => motor.axis === "extra" && motor.camera === state.letter && motor.places.length > 1);
  at("extras").replaceChildren(...motors.map(extraRow));
}

function extraRow(motor) {
  const first = motor.places[0];
  const last = motor.places.at(-1);
  const slider = node("input", { type: "range", id: `extra-${motor.id}`, min: first.percent, max: last.percent, step: 0.5 });
  const out = node("output", {});
  const label = node("label", { htmlFor: slider.id }, node("bdi", { textContent: motor.id }), ", extra motor");
  const showIt = () => {
    const part = Number(slider.value);
    const text = placeText(motor, part);
    out.replaceChildren(text, node("small", { textContent: ` ${decimals(part, 1)} %` }));
    slider.setAttribute("aria-valuetext", text);
  };
  slider.value = String(state.extras[motor.id] ?? first.percent);
  slider.addEventListener("input", () => {
    state.extras[motor.id] = Number(slider.value);
    showIt();
    remember();
  });
  showIt();
  return node("div", { className: "slider" }, label, out, slider);
}

// --- what people do --------------------------------------------------------------------------------------------

function refuse(sentence) {
  at("refusal").textContent = sentence;
}

let remembering = 0;

function moved() {
  show();
  clearTimeout(remembering);
  remembering = setTimeout(remember, 300);
}

function setDistance(distanceM) {
  state.distanceM = distanceM;
  moved();
}

function setStop(index) {
  state.stop = state.stops[Math.min(Math.max(index, 0), state.stops.length - 1)];
  moved();
}

function setFocal(mm) {
  const { focalMinMm, focalMm } = state.lens;
  state.focalMm = Math.min(Math.max(mm, focalMinMm), focalMm);
  moved();
}

const typeDistance = (text) => setDistance(readDistance(text, rangeNow(), opticsNow(), shiftM()));
const typeFocal = (text) => setFocal(readFocal(text, state.lens));

function typeStop(text) {
  const t = readStop(text, state.lens);
  if (t > 22.5) throw new Error(`T${decimals(t, 2)} is beyond T22, where diffraction rules`);
  state.stop = nearStop({ t, text: `T${decimals(t, 2)}` });
  moved();
}

const stopIndex = () => state.stops.indexOf(nearStop({ t: state.stop.t }));

function wireSliders() {
  at("distance-slider").addEventListener("input", (event) => setDistance(distanceOn(rangeNow(), Number(event.target.value))));
  at("stop-slider").addEventListener("input", (event) => setStop(Number(event.target.value)));
  at("focal-slider").addEventListener("input", (event) => setFocal(focalOn(state.lens, Number(event.target.value))));
  steppedByKeys(at("distance-slider"), (way) => setDistance(nextDistance(rangeNow(), state.distanceM, way)), [() => setDistance(nearNow()), () => setDistance(Infinity)]);
  steppedByKeys(at("stop-slider"), (way) => setStop(stopIndex() + way), [() => setStop(0), () => setStop(state.stops.length - 1)]);
  steppedByKeys(at("focal-slider"), (way) => setFocal(state.focalMm + way), [() => setFocal(state.lens.focalMinMm), () => setFocal(state.lens.focalMm)]);
}

// --- swapping the lens -------------------------------------------------------------------------------------------

function showShelf() {
  const found = search(job.lenses.map(searchEntry), at("shelf-search").value).map((index) => job.lenses[index]);
  // What stands on the shelf where this camera starts, pins first; then its own lenses, what is shared, what others carry.
  const starts = (lens) => lens.startsAt?.[state.letter];
  const rank = (lens) => (starts(lens) !== undefined ? (starts(lens) ? -2 : -1) : !lens.camera ? 1 : carries(state.letter, lens) ? 0 : 2);
  const ordered = at("shelf-search").value ? found : found.sort((a, b) => rank(a) - rank(b));
  at("shelf-list").replaceChildren(
    ...ordered.map((lens) => {
      const where = lens.key === state.lens?.key ? "on this camera" : lens.on ? `on camera ${lens.on}` : lens.camera ? `camera ${lens.camera}` : "shared";
      const button = node("button", { type: "button" }, node("bdi", { className: "lens-name", textContent: lens.title }), node("span", { className: "quiet", textContent: `${lens.id} · ${where}${starts(lens) === undefined ? "" : " · on the shelf of this camera"}` }));
      button.addEventListener("click", () => swapTo(lens));
      return node("li", {}, button);
    }),
  );
}

async function swapTo(lens) {
  at("shelf").close();
  remember();
  for (const other of job.lenses) if (other.on === state.letter && other !== lens) other.on = null;
  lens.on = state.letter;
  kept.unsent[state.letter] = lens.key;
  keep();
  chooseLens(lens);
  remember();
  await sendSwaps();
}

/** Tells the server who carries what; until it answers, the page says that it does not know yet. */
async function sendSwaps() {
  const unsent = Object.entries(kept.unsent);
  for (const [camera, lens] of unsent) {
    try {
      const { ok, status } = await send(`/api/jobs/${document.body.dataset.job}/swap`, { camera, lens });
      if (ok || (status >= 400 && status < 500 && status !== 409)) {
        if (kept.unsent[camera] === lens) delete kept.unsent[camera];
        keep();
      }
    } catch {
      break; // the page says so below, and tries again when the server is back
    }
  }
  const left = Object.keys(kept.unsent);
  at("unsent").hidden = left.length === 0;
  at("unsent").textContent = left.length ? `The lens on ${left.join(", ")} is noted on this device only, until the laptop answers.` : "";
}

/** Figures anew, when somebody measured, corrected or swapped: never in the middle of a move. */
async function renew() {
  await sendSwaps();
  try {
    const answer = await fetch(`/api/jobs/${document.body.dataset.job}/onset`);
    if (!answer.ok) return;
    const fresh = await answer.json();
    if (isBehind(fresh.stamp)) setTimeout(renew, CATCH_UP_MS);
    prepare(fresh.lenses);
    remember();
    Object.assign(job, fresh);
    const lens = lensOn(state.letter);
    chooseLens(job.lenses.find((other) => other.key === lens?.key) ?? lens);
  } catch {
    // The frame of the page says that the server is out of reach.
  }
}

function start() {
  showCameras();
  wireSliders();
  typable(at("distance"), { apply: typeDistance, refuse, show });
  typable(at("stop"), { apply: typeStop, refuse, show });
  typable(at("focal"), { apply: typeFocal, refuse, show });
  at("swap").addEventListener("click", () => {
    at("shelf-search").value = "";
    showShelf();
    at("shelf").showModal();
  });
  at("shelf-search").addEventListener("input", showShelf);
  at("extender").addEventListener("change", (event) => {
    state.extended = event.target.checked;
    state.distanceM = Math.max(state.distanceM, nearNow());
    moved();
  });
  at("system").addEventListener("click", () => {
    kept.system = systemNow() === "metric" ? "imperial" : "metric";
    keep();
    at("range-note").textContent = rangeNote(state.lens, write);
    show();
  });
  new ResizeObserver(() => {
    const now = at("rule").clientWidth;
    if (state.lens && now && now !== widthPx) {
      widthPx = now;
      show();
    }
  }).observe(at("rule"));
  onChange(renew);
  const letters = job.cameras.map((camera) => camera.letter);
  chooseCamera(letters.includes(kept.camera) ? kept.camera : letters[0]);
  if (Object.keys(kept.unsent).length) sendSwaps();
}

start();

/** For tests and the curious: the arithmetic behind the figures. */
globalThis.tapehook = { depth, depthThrough, ringPosition, usedAt, budgetAt, placeText, job, state };
