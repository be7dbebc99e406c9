// The depth rule: the tape drawn in vergence (1/distance from the entrance pupil), so that the sharp zone keeps its
// width wherever it slides. Also the round distances that stand on it.
//
// May live here: figures in, SVG out. May not: anything that knows of a job.

import { EIGHTHS, INCH_M } from "./notation.js";

const SVG = "http://www.w3.org/2000/svg";
const METRIC_STEPS_M = [1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001];
const IMPERIAL_STEPS_M = [2400, 1200, 600, 240, 120, 60, 24, 12, 6, 3, 1, 0.5, 0.25].map((inches) => inches * INCH_M);

function stepsOf(system) {
  return system === "metric" ? METRIC_STEPS_M : IMPERIAL_STEPS_M;
}

/** The smallest round step that is at least so many metres. */
export function roundStepM(leastM, system) {
  return stepsOf(system).findLast((step) => step >= leastM) ?? stepsOf(system)[0];
}

/**
 * Round distances from nearM to farM, roundest first, each at least gap pixels from those before it; xOf gives the
 * pixel of a distance. Each carries the step it comes from. Infinity is among them when farM is Infinity. None beyond
 * largestM, none from a step finer than that part of the distance.
 */
export function roundTicks(nearM, farM, system, xOf, gap, { largestM = 2000, finest = 0 } = {}) {
  const chosen = farM === Infinity ? [{ distanceM: Infinity, stepM: Infinity, x: xOf(Infinity) }] : [];
  const lastM = Math.min(farM, largestM);
  for (const step of stepsOf(system)) {
    // Steps stand widest at the near end: where they crowd even there, finer ones have no room at all.
    if (xOf(nearM + step) - xOf(nearM) < gap / 2) break;
    let before = -Infinity;
    for (let count = Math.max(Math.ceil(nearM / step - 1e-9), 1); count * step <= lastM * (1 + 1e-9); count += 1) {
      const x = xOf(count * step);
      if (step < finest * count * step || x - before < gap / 4) break;
      if (chosen.every((tick) => Math.abs(tick.x - x) >= gap)) chosen.push({ distanceM: count * step, stepM: step, x });
      before = x;
    }
  }
  return chosen;
}

const SIGN_EMS = { m: 0.89, "∞": 0.78, "'": 0.28, '"': 0.5, ".": 0.3, " ": 0.24, "/": 0.44 };
for (const fraction of "½¼¾⅛⅜⅝⅞") SIGN_EMS[fraction] = 0.88;

/** About how wide a figure is, in ems: the page's semi-bold signs, so rather too wide than too narrow. */
export function textEms(text) {
  return [...text].reduce((sum, sign) => sum + (SIGN_EMS[sign] ?? 0.6), 0);
}

function element(name, attributes, text) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  return node;
}

function line(x, y1, y2, name) {
  return element("line", { x1: px(x), x2: px(x), y1, y2, class: name });
}

function px(value) {
  return value.toFixed(1);
}

function hatch(id) {
  const pattern = element("pattern", {
    id, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)",
  });
  pattern.append(element("line", { x1: 0, x2: 0, y1: 0, y2: 5, class: "hatch-line" }));
  return pattern;
}

function blank(svg, width, height, id) {
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("height", height);
  svg.replaceChildren(hatch(id));
}

/** The sharp zone: blue-grey, hatched towards both of its ends. */
function drawZone(svg, left, right, tape, id) {
  const width = right - left;
  const end = Math.min(12, width / 3);
  const tall = { y: tape.top, height: tape.height };
  svg.append(element("rect", { ...tall, x: px(left), width: px(width), class: "zone" }));
  for (const x of [left, right - end]) {
    svg.append(element("rect", { ...tall, x: px(x), width: px(end), fill: `url(#${id})` }));
  }
}

/** Centre of a text of about so many pixels that must stay inside 0 to width. */
function kept(x, width, half) {
  return Math.min(Math.max(x, half), width - half);
}

const TAPE = { top: 30, height: 44, bottom: 74 };
const TICK_FONT_PX = 13;
const END_FONT_PX = 17;
const END_GAP_PX = 10;
// Where the depth is thinner than it can be drawn, each side of the focus still gets so much: that the zone is there
// and where it stands must be seen. There the picture no longer says how deep it is; the figures at its ends do.
const LEAST_SIDE_PX = 4.5;

/**
 * The depth rule: the whole range of the lens in vergence, near end at the left, infinity at the right, both half a
 * thumb from the edge, so that the slider's thumb stands under the focus.
 * view: focusM, nearM, farM (null without depth), texts {near, far}, nearEndM, datumM (where vergence is counted
 * from), write(distanceM).
 */
export function drawRule(svg, view, system, width, thumb) {
  blank(svg, width, TAPE.bottom + 4, "hatch");
  const nearest = 1 / (view.nearEndM - view.datumM);
  const xOf = (distanceM) => thumb / 2 + (1 - 1 / (distanceM - view.datumM) / nearest) * (width - thumb);
  svg.append(element("rect", { x: 0, y: TAPE.top, width: px(width), height: TAPE.height, class: "tape" }));
  if (view.nearM !== null) drawDepth(svg, view, xOf, width);
  for (const y of [TAPE.top, TAPE.bottom]) {
    svg.append(element("line", { x1: 0, x2: px(width), y1: y, y2: y, class: "edge" }));
  }
  const ticks = roundTicks(view.nearEndM, Infinity, system, xOf, 8, { largestM: 200, finest: 1 / 32 });
  const labels = labelled(ticks, view.write, width);
  for (const tick of ticks) svg.append(line(tick.x, TAPE.top, TAPE.top + 8, "tick"));
  for (const label of labels) svg.append(line(label.tickX, TAPE.top, TAPE.top + 18, "tick"));
  svg.append(line(xOf(view.focusM), TAPE.top - 4, TAPE.bottom + 4, "focus-line"));
  for (const label of labels) {
    svg.append(element("text", { x: px(label.x), y: TAPE.bottom - 8, class: "tick-label" }, label.text));
  }
}

/** The ticks that carry their distance: the roundest first, each only where it is clear of those before it. */
function labelled(ticks, write, width) {
  const labels = [];
  for (const { distanceM, stepM, x: tickX } of ticks) {
    const text = write(distanceM);
    const half = (textEms(text) * TICK_FONT_PX) / 2;
    const x = kept(tickX, width, half + 2);
    const isRound = distanceM === Infinity || distanceM <= stepM * 12 * (1 + 1e-9);
    const isClear = labels.every((other) => Math.abs(other.x - x) >= other.half + half + 8);
    if (isRound && isClear) labels.push({ text, half, x, tickX });
  }
  return labels;
}

/** The sharp zone, cut where the rule ends, with near and far over its ends. */
function drawDepth(svg, view, xOf, width) {
  const inside = (x) => Math.min(Math.max(x, 0), xOf(Infinity));
  const focus = xOf(view.focusM);
  // Nearer than the pupil there is no vergence to draw: such a near limit lies off the rule on the left.
  const near = view.nearM > view.datumM ? xOf(view.nearM) : 0;
  const left = inside(Math.min(near, focus - LEAST_SIDE_PX));
  const right = inside(Math.max(xOf(view.farM), focus + LEAST_SIDE_PX));
  drawZone(svg, left, right, TAPE, "hatch");
  drawEnds(svg, view.texts, { left, focus, right }, width);
}

/** Near and far over the ends of the zone, each with a thin line down to its end. */
function drawEnds(svg, texts, zone, width) {
  const [nearPx, farPx] = [texts.near, texts.far].map((text) => textEms(text) * END_FONT_PX);
  const [nearX, farX] = endEdges(zone, width, nearPx, farPx);
  for (const [text, edge, wide, end] of [[texts.near, nearX, nearPx, zone.left], [texts.far, farX, farPx, zone.right]]) {
    const under = Math.min(Math.max(end, edge + 1), edge + wide - 1);
    svg.append(element("line", { x1: px(under), y1: 21, x2: px(end), y2: TAPE.top, class: "leader" }));
    svg.append(line(end, TAPE.top, TAPE.bottom, "leader"));
    svg.append(element("text", { x: px(edge + wide / 2), y: 16, class: "zone-end" }, text));
  }
}

/**
 * Left edges of the two labels over the zone. Each stands over its own end when the zone has room for both; else they
 * stand side by side, left and right of the focus where each can still reach its end straight down. Neither leaves the
 * rule, nor touches the other.
 */
function endEdges({ left, focus, right }, width, nearPx, farPx) {
  const both = nearPx + END_GAP_PX + farPx;
  if (right - left >= both) return [left, right - farPx];
  const latest = Math.min(left, right - nearPx - END_GAP_PX, width - both);
  const near = Math.max(Math.min(Math.max(focus - END_GAP_PX / 2 - nearPx, right - both), latest), 0);
  return [near, near + nearPx + END_GAP_PX];
}

/** Words over a slider, each where the thumb stands for it. marks: [{part, text}], part 0 to 1; first ones first. */
export function drawScale(svg, marks, width, thumb, gap) {
  blank(svg, width, 16, "hatch-scale");
  const taken = [];
  for (const { part, text } of marks) {
    const x = thumb / 2 + part * (width - thumb);
    if (taken.some((other) => Math.abs(other - x) < gap)) continue;
    svg.append(element("text", { x: px(kept(x, width, 2 + text.length * 3.4)), y: 13, class: "tick-label" }, text));
    taken.push(x);
  }
}
