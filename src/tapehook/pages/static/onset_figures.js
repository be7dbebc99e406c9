// The arithmetic behind the figures of On set, its words, and the bar of the budget: it asks no server.

import { depth } from "./web/depth.js";
import { decimals } from "./web/notation.js";

const SVG = "http://www.w3.org/2000/svg";

/** A share for a sentence. */
export const percent = (share) => (share < 10 ? `${decimals(share * 100, 0)} %` : share < Infinity ? "over 1000 %" : "no depth");

/**
 * Depth at a distance from the sensor. With an extender of factor x a blur disc c on the sensor is one of c/x behind the
 * lens, whose own place, pupil and focal length stay: so the depth is that of the bare lens for c/x (tapehook.optics.extender).
 */
export function depthThrough(optics, extender, t, distanceM) {
  if (!extender) return depth(optics, t, distanceM);
  const shift = extender.lengthM;
  const bare = depth({ ...optics, cocM: optics.cocM / extender.factor }, t, distanceM - shift);
  const at = { ...bare.state, pupilToSensorM: bare.state.pupilToSensorM + shift };
  return { ...bare, nearM: bare.nearM + shift, farM: bare.farM + shift, hyperfocalM: bare.hyperfocalM + shift, state: at };
}

/** The share of the room on its side that a distance uses, at the setting answered. */
export function usedAt(distanceM, answer) {
  const u = distanceM - answer.state.pupilToSensorM;
  return u > 0 ? Math.abs(1 / u - answer.vergenceDpt) / answer.halfWidthDpt : Infinity;
}

/** The terms of the budget, what glass and stopping down leave being that of the stop where it is given. */
function termsAt({ terms, moving }, tNumber) {
  if (!moving || tNumber === null) return terms;
  const off = (one) => Math.abs(Math.log(one.t / tNumber));
  const here = moving.stops.reduce((best, one) => (off(one) < off(best) ? one : best));
  const left = here.terms.map(({ name, kind, metres }) => ({ name, kind, source: "lens", assumed: false, shiftDpt: moving.perMetreDpt.map((dpt) => dpt * metres) }));
  return [...terms.filter((term) => !moving.names.includes(term.name)), ...left];
}

/** The terms of the budget here and at this stop, as shares: biases add, scatter adds in squares. */
export function budgetAt(budget, datumM, distanceM, halfWidthDpt, tNumber = null) {
  const places = budget.distanceM.map((value) => 1 / (value - datumM));
  const place = 1 / (distanceM - datumM);
  const terms = termsAt(budget, tNumber).map((term) => ({ ...term, share: between(places, term.shiftDpt, place) / halfWidthDpt }));
  const sum = (chosen) => {
    const bias = chosen.filter((term) => term.kind === "bias").reduce((total, term) => total + term.share, 0);
    return bias + Math.hypot(...chosen.filter((term) => term.kind !== "bias").map((term) => term.share));
  };
  return { terms, own: sum(terms.filter((term) => term.source === "lens")), total: sum(terms) };
}

/** The budget of the bare lens with what lies behind its extender turned into what it does before it: 1/x squared. */
export function budgetThrough(budget, extender) {
  if (!extender) return budget;
  const turned = (term) => ({ ...term, shiftDpt: term.shiftDpt.map((value) => value / extender.factor ** 2) });
  const terms = budget.terms.map((term) => (extender.behind.includes(term.name) ? turned(term) : term));
  if (!budget.moving) return { ...budget, terms };
  const less = (term) => (extender.behind.includes(term.name) ? { ...term, metres: term.metres / extender.factor ** 2 } : term);
  const stops = budget.moving.stops.map((one) => ({ ...one, terms: one.terms.map(less) }));
  return { ...budget, terms, moving: { ...budget.moving, stops } };
}

function between(places, values, place) {
  const isRising = places.at(-1) > places[0];
  const inside = places.findIndex((other) => (isRising ? other >= place : other <= place));
  if (inside === 0) return values[0];
  if (inside < 0) return values.at(-1);
  const part = (place - places[inside - 1]) / (places[inside] - places[inside - 1]);
  return values[inside - 1] + part * (values[inside] - values[inside - 1]);
}

/** The bar of a budget: a part for each term, and where the depth ends. */
export function drawBudget(bar, terms) {
  const whole = Math.max(1, terms.reduce((sum, term) => sum + term.share, 0));
  let x = 0;
  const bars = terms.map((term, index) => {
    const width = (300 * term.share) / whole;
    const piece = document.createElementNS(SVG, "rect");
    for (const [key, value] of Object.entries({ x: x.toFixed(1), y: 1, width: width.toFixed(1), height: 12, class: `part part-${index % 6}` })) piece.setAttribute(key, value);
    x += width;
    return piece;
  });
  const limit = document.createElementNS(SVG, "rect");
  for (const [key, value] of Object.entries({ x: (300 / whole - 1.5).toFixed(1), y: 0, width: 1.5, height: 14, class: "limit" })) limit.setAttribute(key, value);
  bar.replaceChildren(...bars, limit);
}

/** Where an extra motor stands, in its own unit; between names that are no figures, the nearest name. */
export function placeText(motor, part) {
  const { places, unit } = motor;
  const next = Math.max(1, places.findIndex((place) => place.percent >= part));
  const [one, other] = [places[next - 1], places[next]];
  const along = (part - one.percent) / (other.percent - one.percent || 1);
  if (one.value === null || other.value === null) return (along < 0.5 ? one : other).name;
  const value = one.value + Math.min(Math.max(along, 0), 1) * (other.value - one.value);
  const span = Math.abs(places.at(-1).value - places[0].value);
  return `${decimals(value, span < 10 ? 2 : 1)}${unit ? ` ${unit}` : ""}`;
}

/** What distance and stop may be; `write` says a distance in words. */
export function rangeNote(lens, write) {
  const near = lens.nearKnown ? "Distance from close focus" : `Close focus not known: distance from ${write(lens.nearM)}`;
  const widest = lens.widest ? `the stop from ${lens.widest.text}, its widest` : "widest stop not known: the stop from T1";
  const focal = lens.focalMinMm == null ? "" : "; the focal length within the zoom";
  return `${near}; ${widest}, to T22${focal}.`;
}
