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

/** The sharp zone: blue-grey, hatched towards both of its ends; never thinner than a hair, so that it is seen. */
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

const TAPE = { top: 30, height: 44 };
// Signs of the bold labels at the ends of the zone, rather too wide than too narrow.
const LABEL_SIGN_PX = 9.8;
const LABEL_FRACTION_PX = 16;
const LABEL_GAP_PX = 10;

/**
 * Left edges of the two labels over the zone. Each stands over its end when the zone has room for both; over a thin
 * zone they stand left and right of the focus. Neither leaves the rule, nor touches the other.
 */
function labelEdges(left, focus, right, width, nearPx, farPx) {
  const roomy = right - left >= nearPx + farPx + LABEL_GAP_PX;
  let near = roomy ? left : focus - LABEL_GAP_PX / 2 - nearPx;
  let far = roomy ? right - farPx : focus + LABEL_GAP_PX / 2;
  near = Math.min(Math.max(near, 0), width - farPx - LABEL_GAP_PX - nearPx);
  far = Math.min(Math.max(far, near + nearPx + LABEL_GAP_PX), width - farPx);
  return [Math.min(near, far - LABEL_GAP_PX - nearPx), far];
}

/**
 * The depth rule: the whole range of the lens in vergence, near end at the left, infinity at the right, both half a
 * thumb from the edge, so that the slider's thumb stands under the focus.
 * view: focusM, nearM, farM (null without depth), texts {near, far}, nearEndM, datumM (where vergence is counted
 * from), write(distanceM).
 */
export function drawRule(svg, view, system, width, thumb) {
  blank(svg, width, TAPE.top + TAPE.height + 22, "hatch");
  const bottom = TAPE.top + TAPE.height;
  const nearest = 1 / (view.nearEndM - view.datumM);
  const xOf = (distanceM) => thumb / 2 + (1 - 1 / (distanceM - view.datumM) / nearest) * (width - thumb);
  const tape = { x: px(thumb / 2), y: TAPE.top, width: px(width - thumb), height: TAPE.height };
  svg.append(element("rect", { ...tape, class: "tape" }));
  if (view.nearM !== null) drawDepth(svg, view, xOf, width, thumb);
  for (const tick of roundTicks(view.nearEndM, Infinity, system, xOf, 8, { largestM: 200, finest: 1 / 32 })) {
    svg.append(line(tick.x, bottom - 8, bottom, "tick"));
  }
  for (const tick of roundTicks(view.nearEndM, Infinity, system, xOf, 40, { largestM: 200, finest: 1 / 16 })) {
    const label = view.write(tick.distanceM);
    svg.append(line(tick.x, bottom - 16, bottom, "tick"));
    svg.append(element("text", { x: kept(tick.x, width, 2 + label.length * 3.5), y: bottom + 16, class: "tick-label" }, label));
  }
  for (const y of [TAPE.top, bottom]) {
    svg.append(element("line", { x1: px(thumb / 2), x2: px(width - thumb / 2), y1: y, y2: y, class: "edge" }));
  }
  svg.append(line(xOf(view.focusM), TAPE.top - 6, bottom + 4, "focus-line"));
}

/** The sharp zone, cut at the ends of the range, with near and far at its ends. */
function drawDepth(svg, view, xOf, width, thumb) {
  const inside = (x) => Math.min(Math.max(x, thumb / 2), width - thumb / 2);
  // Nearer than the pupil there is no vergence to draw: such a near limit lies off the rule on the left.
  const left = inside(view.nearM > view.datumM ? xOf(view.nearM) : 0);
  const right = inside(xOf(view.farM));
  drawZone(svg, left, right, TAPE.top, TAPE.height, "hatch");
  for (const x of [left, right]) svg.append(line(x, TAPE.top - 8, TAPE.top, "zone-edge"));
  const widthOf = (text) =>
    [...text].reduce((sum, sign) => sum + (EIGHTHS.includes(sign) ? LABEL_FRACTION_PX : LABEL_SIGN_PX), 0);
  const { near, far } = view.texts;
  const edges = labelEdges(left, inside(xOf(view.focusM)), right, width, widthOf(near), widthOf(far));
  for (const [text, edge] of [[near, edges[0]], [far, edges[1]]]) {
    svg.append(element("text", { x: px(edge + widthOf(text) / 2), y: 17, class: "zone-end" }, text));
  }
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
