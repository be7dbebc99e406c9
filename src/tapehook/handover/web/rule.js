// The depth rule: the tape drawn in vergence (1/distance from the entrance pupil), so that the sharp zone keeps its
// width wherever it slides. Also the round distances that stand on it.
//
// May live here: figures in, SVG out. May not: anything that knows of a job.

import { INCH_M } from "./notation.js";

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
 * pixel of a distance. Infinity is among them when farM is Infinity. None beyond largestM, none from a step finer than
 * that part of the distance.
 */
export function roundTicks(nearM, farM, system, xOf, gap, { largestM = 2000, finest = 0 } = {}) {
  const chosen = farM === Infinity ? [{ distanceM: Infinity, x: xOf(Infinity) }] : [];
  const lastM = Math.min(farM, largestM);
  for (const step of stepsOf(system)) {
    // Steps stand widest at the near end: where they crowd even there, finer ones have no room at all.
    if (xOf(nearM + step) - xOf(nearM) < gap / 2) break;
    let before = -Infinity;
    for (let count = Math.max(Math.ceil(nearM / step - 1e-9), 1); count * step <= lastM * (1 + 1e-9); count += 1) {
      const x = xOf(count * step);
      if (step < finest * count * step || x - before < gap / 4) break;
      if (chosen.every((tick) => Math.abs(tick.x - x) >= gap)) chosen.push({ distanceM: count * step, x });
      before = x;
    }
  }
  return chosen;
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
function drawZone(svg, left, right, top, height, id) {
  const width = Math.max(right - left, 1.5);
  const end = Math.min(12, width / 3);
  svg.append(element("rect", { x: px(left), y: top, width: px(width), height, class: "zone" }));
  for (const x of [left, left + width - end]) {
    svg.append(element("rect", { x: px(x), y: top, width: px(end), height, fill: `url(#${id})` }));
  }
}

/** Centre of a text of about so many pixels that must stay inside 0 to width. */
function kept(x, width, half) {
  return px(Math.min(Math.max(x, half), width - half));
}

/**
 * The close look: the sharp zone always takes the middle three fifths, the tape slides beneath it.
 * view: focusM (metres), halfWidthDpt, pupilToSensorM as set, texts {near, far}, write(distanceM).
 */
export function drawCloseUp(svg, view, system, width) {
  blank(svg, width, 96, "hatch-close");
  const tape = { top: 28, height: 44 };
  const w = view.halfWidthDpt;
  const q = 1 / (view.focusM - view.pupilToSensorM);
  const xOf = (distanceM) => width / 2 + ((q - 1 / (distanceM - view.pupilToSensorM)) * 0.3 * width) / w;
  const beyond = xOf(Infinity);
  const right = Math.min(width, beyond);
  svg.append(element("rect", { x: 0, y: tape.top, width: px(right), height: tape.height, class: "tape" }));
  drawZone(svg, 0.2 * width, Math.min(0.8 * width, right), tape.top, tape.height, "hatch-close");
  drawTicks(svg, width, xOf, view, system, tape);
  svg.append(element("line", { x1: 0, x2: px(right), y1: tape.top, y2: tape.top, class: "edge" }));
  svg.append(
    element("line", { x1: 0, x2: px(right), y1: tape.top + tape.height, y2: tape.top + tape.height, class: "edge" }),
  );
  svg.append(line(width / 2, tape.top - 8, tape.top + tape.height + 4, "focus-line"));
  const near = element("text", { x: kept(0.2 * width, width, 24), y: 20, class: "zone-end" }, view.texts.near);
  const far = element("text", { x: kept(0.8 * width, width, 24), y: 20, class: "zone-end" }, view.texts.far);
  svg.append(near, far);
}

function drawTicks(svg, width, xOf, view, system, tape) {
  const vergence = (x) => 1 / (view.focusM - view.pupilToSensorM) + ((width / 2 - x) / (0.3 * width)) * view.halfWidthDpt;
  const distanceAt = (x) => (vergence(x) > 0 ? view.pupilToSensorM + 1 / vergence(x) : Infinity);
  const nearest = distanceAt(0);
  const farthest = distanceAt(width);
  const bottom = tape.top + tape.height;
  for (const tick of roundTicks(nearest, farthest, system, xOf, 9)) svg.append(line(tick.x, bottom - 9, bottom, "tick"));
  for (const tick of roundTicks(nearest, farthest, system, xOf, 54)) {
    svg.append(line(tick.x, bottom - 18, bottom, "tick"));
    const label = view.write(tick.distanceM);
    svg.append(element("text", { x: kept(tick.x, width, 4 + label.length * 4), y: 91, class: "tick-label" }, label));
  }
}

/**
 * The whole range over a slider: near end at the left, infinity at the right, both half a thumb from the edge.
 * view: focusM, nearM, farM (null without depth), nearEndM, datumM (where vergence is counted from), write.
 */
export function drawWhole(svg, view, system, width, thumb) {
  blank(svg, width, 36, "hatch-whole");
  const nearest = 1 / (view.nearEndM - view.datumM);
  const xOf = (distanceM) => thumb / 2 + (1 - 1 / (distanceM - view.datumM) / nearest) * (width - thumb);
  svg.append(element("rect", { x: px(thumb / 2), y: 18, width: px(width - thumb), height: 14, class: "tape" }));
  if (view.nearM !== null) {
    const left = Math.max(xOf(view.nearM), thumb / 2);
    drawZone(svg, Math.min(left, width - thumb / 2), Math.min(xOf(view.farM), width - thumb / 2), 18, 14, "hatch-whole");
  }
  for (const tick of roundTicks(view.nearEndM, Infinity, system, xOf, 36, { largestM: 200, finest: 1 / 16 })) {
    const label = view.write(tick.distanceM);
    svg.append(line(tick.x, 22, 32, "tick"));
    svg.append(element("text", { x: kept(tick.x, width, 2 + label.length * 3.5), y: 12, class: "tick-label" }, label));
  }
  svg.append(line(xOf(view.focusM), 15, 36, "focus-line"));
}

/** Words over a slider, each where the thumb stands for it. marks: [{part, text}], part 0 to 1; first ones first. */
export function drawScale(svg, marks, width, thumb, gap) {
  blank(svg, width, 16, "hatch-scale");
  const taken = [];
  for (const { part, text } of marks) {
    const x = thumb / 2 + part * (width - thumb);
    if (taken.some((other) => Math.abs(other - x) < gap)) continue;
    svg.append(element("text", { x: kept(x, width, 2 + text.length * 3.4), y: 13, class: "tick-label" }, text));
    taken.push(x);
  }
}
