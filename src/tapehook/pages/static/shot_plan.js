// The floor plan of a shot: camera and people seen from above, marks that are dragged or moved by arrow keys.
//
// Everything is in metres; farther from the camera is higher up. Places are kept as [x, y, height].

const SVG = "http://www.w3.org/2000/svg";
const STEP_M = 0.1;
const LONG_STEP_M = 0.5;
const DASHES = ["5 3", "1.5 2.5", "8 3 2 3", "3 1.5"];
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const USUAL_CAMERA = [0, 0, 1.5];

export const round = (value) => Math.round(value * 1000) / 1000;

/** The waypoints of the camera, where it stands when the shot says nothing. */
export function cameraPath(shot) {
  return shot.camera_path?.length ? shot.camera_path : [{ at_s: 0, place_m: USUAL_CAMERA }];
}

/** Where somebody is at a moment; straight between marks, which is near enough for the eye. */
export function placeAt(path, time) {
  const after = path.findIndex((point) => point.at_s >= time);
  if (after <= 0) return path[after === 0 ? 0 : path.length - 1].place_m;
  const [one, other] = [path[after - 1], path[after]];
  const part = (time - one.at_s) / (other.at_s - one.at_s);
  return one.place_m.map((value, k) => value + part * (other.place_m[k] - value));
}

function make(name, attributes, ...children) {
  const node = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

/**
 * Draws the plan into an SVG and lets marks be moved. `read()` gives the shot, `moved(done)` is called after each move,
 * with true when it is finished; `chosen(who, index)` when a mark is chosen; who is -1 for the camera.
 */
export class FloorPlan {
  constructor(svg, { read, moved, chosen, mayMove }) {
    Object.assign(this, { svg, read, moved, chosen, mayMove });
    this.time = 0;
    this.fieldDeg = null;
    this.held = null;
    svg.addEventListener("pointerdown", (event) => this.#grab(event));
    svg.addEventListener("pointermove", (event) => this.#drag(event));
    svg.addEventListener("pointerup", (event) => this.#drop(event));
    svg.addEventListener("pointercancel", (event) => this.#drop(event));
    svg.addEventListener("keydown", (event) => this.#key(event));
    svg.addEventListener("focusin", (event) => this.#choose(event.target.closest("[data-who]")));
  }

  #ways() {
    const shot = this.read();
    return [[-1, "camera", cameraPath(shot)], ...shot.people.map((one, at) => [at, one.name, one.path])];
  }

  #path(who) {
    const shot = this.read();
    if (who >= 0) return shot.people[who].path;
    if (!shot.camera_path?.length) shot.camera_path = structuredClone(cameraPath(shot));
    return shot.camera_path;
  }

  /** Fits everything in, with room about it; while a mark is held the plan stands still under it. */
  #fit() {
    const places = this.#ways().flatMap(([, , path]) => path.map((point) => point.place_m));
    const xs = places.map((place) => place[0]);
    const ys = places.map((place) => place[1]);
    const [left, right] = [Math.min(...xs) - 1.2, Math.max(...xs) + 1.2];
    const [low, high] = [Math.min(...ys) - 1, Math.max(...ys) + 1];
    const box = this.svg.getBoundingClientRect();
    const [width, height] = [Math.max(box.width, 200), Math.max(box.height, 200)];
    this.scale = Math.min(width / (right - left), height / (high - low));
    this.middle = [(left + right) / 2, (low + high) / 2];
    this.size = [width, height];
    this.svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  }

  #at(place) {
    const [width, height] = this.size;
    return [width / 2 + (place[0] - this.middle[0]) * this.scale, height / 2 - (place[1] - this.middle[1]) * this.scale];
  }

  draw() {
    if (!this.held) this.#fit();
    const focused = document.activeElement?.closest?.("#plan [data-who]");
    const again = focused ? [focused.dataset.who, focused.dataset.index] : null;
    const parts = [...this.#grid(), ...this.#field()];
    for (const [who, name, path] of this.#ways()) parts.push(...this.#way(who, name, path));
    this.svg.replaceChildren(...parts);
    if (again) this.svg.querySelector(`[data-who="${again[0]}"][data-index="${again[1]}"]`)?.focus({ preventScroll: true });
  }

  #grid() {
    const [width, height] = this.size;
    const lines = [];
    if (this.scale < 8) return lines;
    const reach = [width / 2 / this.scale, height / 2 / this.scale];
    for (let x = Math.ceil(this.middle[0] - reach[0]); x <= this.middle[0] + reach[0]; x += 1) {
      const [at] = this.#at([x, 0]);
      lines.push(make("line", { x1: at, y1: 0, x2: at, y2: height, class: "grid" }));
    }
    for (let y = Math.ceil(this.middle[1] - reach[1]); y <= this.middle[1] + reach[1]; y += 1) {
      const [, at] = this.#at([0, y]);
      lines.push(make("line", { x1: 0, y1: at, x2: width, y2: at, class: "grid" }));
    }
    return lines;
  }

  /** What the camera sees in width, looking at the first person. */
  #field() {
    const shot = this.read();
    const from = placeAt(cameraPath(shot), this.time);
    if (!shot.people.length || !this.fieldDeg) return [];
    const to = placeAt(shot.people[0].path, this.time);
    const looks = Math.atan2(to[1] - from[1], to[0] - from[0]);
    const far = Math.hypot(to[0] - from[0], to[1] - from[1]) * 1.3 + 1;
    return [-1, 1].map((side) => {
      const turn = looks + (side * this.fieldDeg * Math.PI) / 360;
      const [x1, y1] = this.#at(from);
      const [x2, y2] = this.#at([from[0] + far * Math.cos(turn), from[1] + far * Math.sin(turn)]);
      return make("line", { x1, y1, x2, y2, class: "field" });
    });
  }

  #way(who, name, path) {
    const points = path.map((point) => this.#at(point.place_m));
    const parts = [];
    if (points.length > 1) {
      const dash = who < 0 ? "" : DASHES[who % DASHES.length];
      parts.push(make("polyline", { points: points.map((p) => p.join(",")).join(" "), class: "way", "stroke-dasharray": dash }));
    }
    const [x, y] = this.#at(placeAt(path, this.time));
    if (path.length > 1) parts.push(make("circle", { cx: x, cy: y, r: 4, class: "now" }));
    points.forEach((point, index) => parts.push(...this.#mark(who, name, path, point, index)));
    return parts;
  }

  #mark(who, name, path, [x, y], index) {
    const { at_s, place_m } = path[index];
    const where = `${Math.abs(place_m[0]).toFixed(1)} m ${place_m[0] < 0 ? "left" : "right"}, ${place_m[1].toFixed(1)} m away`;
    const shape =
      who < 0
        ? make("path", { d: `M${x} ${y - 11}L${x + 9} ${y + 7}L${x - 9} ${y + 7}Z`, class: "camera" })
        : make("circle", { cx: x, cy: y, r: 8, class: "mark" });
    const seconds = (point) => `${point.at_s.toLocaleString("en", { maximumFractionDigits: 2 })} s`;
    // Marks on one spot share the label of the first of them.
    const onSpot = path.map((point) => Math.hypot(...this.#at(point.place_m).map((value, k) => value - [x, y][k])) < 6);
    const isFirst = onSpot.indexOf(true) === index;
    const moment = path.length > 1 && isFirst ? ` ${path.filter((_, k) => onSpot[k]).map(seconds).join(", ")}` : "";
    const right = x > this.size[0] - 90;
    const text = make("text", { x: x + (right ? -14 : 14), y: y + 4, "text-anchor": right ? "end" : "start", "aria-hidden": "true" });
    text.textContent = (index === 0 || path.length === 1 ? name : "") + moment;
    const handle = make(
      "g",
      {
        tabindex: this.mayMove ? 0 : -1,
        role: "button",
        "data-who": who,
        "data-index": index,
        "aria-label": `${name} at ${at_s} s, ${where}`,
        class: "handle",
      },
      make("circle", { cx: x, cy: y, r: 22, class: "reach" }),
      shape,
    );
    return [handle, text];
  }

  #choose(handle) {
    if (handle) this.chosen(Number(handle.dataset.who), Number(handle.dataset.index));
  }

  #grab(event) {
    const handle = event.target.closest("[data-who]");
    if (!handle || !this.mayMove) return;
    event.preventDefault();
    this.held = { who: Number(handle.dataset.who), index: Number(handle.dataset.index), pointer: event.pointerId };
    this.svg.setPointerCapture(event.pointerId);
    handle.focus({ preventScroll: true });
  }

  #drag(event) {
    if (this.held?.pointer !== event.pointerId) return;
    const box = this.svg.getBoundingClientRect();
    const [width, height] = this.size;
    const x = (((event.clientX - box.left) / box.width - 0.5) * width) / this.scale + this.middle[0];
    const y = -(((event.clientY - box.top) / box.height - 0.5) * height) / this.scale + this.middle[1];
    this.#put(this.held.who, this.held.index, x, y, false);
  }

  #drop(event) {
    if (this.held?.pointer !== event.pointerId) return;
    this.held = null;
    this.draw();
    this.moved(true);
  }

  #key(event) {
    const arrow = ARROWS[event.key];
    const handle = event.target.closest("[data-who]");
    if (!arrow || !handle || !this.mayMove) return;
    event.preventDefault();
    const [who, index] = [Number(handle.dataset.who), Number(handle.dataset.index)];
    const step = event.shiftKey ? LONG_STEP_M : STEP_M;
    const [x, y] = this.#path(who)[index].place_m;
    this.#put(who, index, x + arrow[0] * step, y + arrow[1] * step, true);
  }

  #put(who, index, x, y, done) {
    const place = this.#path(who)[index].place_m;
    place[0] = round(x);
    place[1] = round(y);
    this.draw();
    this.moved(done);
  }
}
