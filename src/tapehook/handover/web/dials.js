// The dials of one lens: its place on the distance slider, its stops, what is typed for them, and keys on the sliders.
//
// May live here: functions of a lens's own figures, and the wiring of one field or one slider, for the pocket page and
// for the page On set alike. May not: a job, which lens is in hand, or what a page looks like.

import { nearestPossibleM, thinPupil } from "./depth.js";
import { decimals, parseDistance, parseTStop, shownStepM } from "./notation.js";
import { roundStepM, textEms } from "./rule.js";

export const DISTANCE_STEPS = 1000;
export const FOCAL_STEPS = 200;

// --- what a lens gives -----------------------------------------------------------------------------------------

/** Optics of a lens as set: a zoom away from its long end has no pupil data. */
export function opticsAt(lens, setMm) {
  const { optics, focalMm } = lens;
  if (!optics || setMm === null || setMm === focalMm) return optics;
  return { ...optics, focalM: setMm * 1e-3, pupil: null };
}

/** Where vergence is counted from on the slider: the entrance pupil at infinity focus, or the map's own datum. */
export function datumOf({ optics, map }) {
  if (optics) return (optics.pupil ?? thinPupil(optics.focalM)).toSensorM;
  return map ? map.datumM : 0;
}

/** Stops of a lens: its widest, then thirds to T22, and the one it is shot at; all thirds when the widest is not known. */
export function stopsFrom(lens, thirds) {
  const widest = lens.widest?.t ?? 0;
  const stops = thirds.filter((stop) => stop.t > widest * 1.02 && (widest || stop.t >= 1));
  if (lens.widest) stops.unshift(lens.widest);
  const wanted = lens.shooting;
  if (wanted && wanted.t > widest && stops.every((stop) => Math.abs(stop.t / wanted.t - 1) >= 5e-3)) stops.push(wanted);
  return stops.sort((a, b) => a.t - b.t);
}

/** The stop of a list that is nearest to a T-number. */
export function stopNear(stops, t) {
  const far = (stop) => Math.abs(Math.log(stop.t / t));
  return stops.reduce((best, stop) => (far(stop) < far(best) ? stop : best));
}

/** How far the depth can be trusted, and what was assumed in it. */
export function trustText(answer, optics) {
  const assumed = [];
  if (!optics.pupil) assumed.push("a thin lens");
  if (optics.transmission === null) assumed.push("85 % transmission");
  const because = assumed.length ? `, assumed: ${assumed.join(" and ")}` : "";
  if (answer.uncertainty > 1) return `Too near to trust without pupil data: +- more than the whole depth${because}`;
  if (answer.uncertainty === 0) return "Depth from the pupil data of this lens";
  return `Depth +- ${decimals(answer.uncertainty * 100, 0)} % of its width${because}`;
}

// --- the distance slider: even in vergence, in round steps -----------------------------------------------------

const nearestDpt = ({ nearM, datumM }) => 1 / (nearM - datumM);

/**
 * Where a distance stands on the slider, 0 at the near end, DISTANCE_STEPS at infinity. range: nearM and datumM, metres
 * from the image plane, and the system ("metric" or "imperial") whose round steps are taken.
 */
export function sliderAt(range, distanceM) {
  return DISTANCE_STEPS * (1 - 1 / (distanceM - range.datumM) / nearestDpt(range));
}

/** The round distance at a place of the slider; Infinity at its end. */
export function distanceOn(range, slider) {
  const q = nearestDpt(range) * (1 - slider / DISTANCE_STEPS);
  if (!(q > 0)) return Infinity;
  const distanceM = range.datumM + 1 / q;
  const step = stepAbout(range, distanceM);
  return Math.max(Math.round(distanceM / step) * step, range.nearM);
}

/** About a slider step, as a round length at that distance, and never finer than what is shown. */
function stepAbout({ nearM, datumM, system }, distanceM) {
  const u = distanceM - datumM;
  const slide = (u * u) / (nearM - datumM) / DISTANCE_STEPS / 1.5;
  return roundStepM(Math.max(slide, shownStepM(distanceM, system)), system);
}

/** The next round distance outward (way 1) or inward (-1). */
export function nextDistance(range, distanceM, way) {
  if (distanceM === Infinity) return way > 0 ? Infinity : distanceOn(range, DISTANCE_STEPS - 1);
  const step = stepAbout(range, distanceM);
  const count = way > 0 ? Math.floor(distanceM / step + 1e-6) + 1 : Math.ceil(distanceM / step - 1e-6) - 1;
  const isLast = sliderAt(range, distanceM) >= DISTANCE_STEPS - 1 || sliderAt(range, count * step) > DISTANCE_STEPS - 0.5;
  if (way > 0 && isLast) return Infinity;
  return Math.max(count * step, range.nearM);
}

/** Where a focal length stands on the slider of a zoom, even in its logarithm. */
export function focalSliderAt({ focalMinMm, focalMm }, mm) {
  return (FOCAL_STEPS * Math.log(mm / focalMinMm)) / Math.log(focalMm / focalMinMm);
}

/** The focal length at a place of it, whole millimetres. */
export function focalOn({ focalMinMm, focalMm }, slider) {
  return Math.round(focalMinMm * (focalMm / focalMinMm) ** (slider / FOCAL_STEPS));
}

// --- what is typed: held to the lens, and said when it lies outside --------------------------------------------

/** A distance as typed. range as above, with nearKnown and how distances are written; optics may be missing. */
export function readDistance(text, range, optics, shiftM = 0) {
  const { nearM, nearKnown, system, write } = range;
  const distanceM = parseDistance(text, system === "metric" ? "m" : "ft");
  if (distanceM < nearM * (1 - 1e-6)) {
    throw new Error(`${write(distanceM)} is nearer than ${nearKnown ? "close focus" : "the end of the slider"}, ${write(nearM)}`);
  }
  const nearest = optics ? nearestPossibleM(optics.focalM, optics.pupil ?? thinPupil(optics.focalM)) + shiftM : 0;
  if (distanceM < nearest) throw new Error(`${write(distanceM)} is nearer than this lens can focus at all`);
  return Math.max(distanceM, nearM);
}

/** A T-number as typed. */
export function readStop(text, { widest }) {
  const t = parseTStop(text);
  if (widest && t < widest.t * (1 - 5e-3)) throw new Error(`T${decimals(t, 2)} is wider than this lens opens, ${widest.text}`);
  return t;
}

/** A focal length of a zoom as typed, millimetres. */
export function readFocal(text, { focalMinMm, focalMm }) {
  const mm = Number(text.replace(/mm\.?$/i, "").trim().replace(",", "."));
  if (!(mm >= focalMinMm && mm <= focalMm)) {
    throw new Error(`“${text.slice(0, 60)}” is outside this zoom; expected ${decimals(focalMinMm, 1)} to ${decimals(focalMm, 1)} mm`);
  }
  return mm;
}

// --- fields and sliders ----------------------------------------------------------------------------------------

/** Makes a figure's field as wide as what stands in it. */
export function fitField(input) {
  input.style.setProperty("--wide", textEms(input.value).toFixed(2));
}

/** Writes a figure into its field, unless somebody is typing there. */
export function fillField(input, text) {
  if (document.activeElement !== input || !input.dataset.typing) input.value = text;
  fitField(input);
}

/** Puts a slider where a figure stands, and says the figure for it. */
export function moveSlider(slider, value, words) {
  slider.value = String(value);
  slider.setAttribute("aria-valuetext", words);
}

/**
 * A big figure that can be typed into: Enter or leaving it applies, Escape gives the old one back. apply throws what
 * refuse is told; show writes all figures anew.
 */
export function typable(input, { apply, refuse, show }) {
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
    fitField(input);
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
export function steppedByKeys(slider, step, ends) {
  slider.addEventListener("keydown", (event) => {
    const count = KEY_STEPS[event.key];
    const end = { Home: 0, End: 1 }[event.key];
    if (count === undefined && end === undefined) return;
    event.preventDefault();
    if (end !== undefined) ends[end]();
    for (let i = 0; i < Math.abs(count ?? 0); i += 1) step(Math.sign(count));
  });
}
