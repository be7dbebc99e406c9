// The Radio page: the plan follows the fields; who stands on the lot and which channel a camera has can be dragged.
//
// What is dragged ends up in a field, so that the keyboard does the same: places in x, y, channels in a list. Nothing is
// kept but what stands in the address.

import { follower } from "./follow.js";
import { at } from "./live.js";

const WAIT_MS = 250;
const form = at("radio-fields");
const part = at("radio");

// --- following the fields --------------------------------------------------------------------------------------

/** The fields as they stand. Lists go whole, as their order says whose they are; channels only where they count. */
function query() {
  const data = new FormData(form);
  const given = new URLSearchParams();
  const mode = data.get("mode");
  const isMoved = data.getAll("place").some((one) => one.trim() !== "");
  for (const [name, value] of data) {
    if (name === "place" ? !isMoved : name === "ch" ? mode === "plan" : value === "") continue;
    given.append(name, value);
  }
  if (mode === "plan") given.delete("mode");
  return given;
}

const { now: follow, soon } = follower(form, "radio", { query, waitMs: WAIT_MS, keepsAddress: true });

const setMode = (mode) => {
  form.querySelector(`[name=mode][value=${mode}]`).checked = true;
};

form.addEventListener("input", soon);
form.addEventListener("submit", (event) => {
  event.preventDefault();
  follow();
});
part.addEventListener("change", (event) => {
  if (event.target.name !== "ch") return;
  setMode("judge");
  soon();
});
document.addEventListener("click", (event) => {
  if (!event.target.closest("[data-as-job]")) return;
  setMode("plan");
  for (const field of form.querySelectorAll("input:not([type=radio]), textarea")) field.value = "";
  follow();
});

// --- dragging --------------------------------------------------------------------------------------------------

/** A point of the screen in the units of a picture. */
function within(svg, event) {
  return new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
}

const numbers = (element, ...names) => names.map((name) => Number(element.dataset[name]));

/** A radio dropped on the lot: its place in metres goes into its field. */
function dropSpot(svg, group, to) {
  const ground = svg.querySelector("[data-per]");
  const [per, left, bottom, west, south] = numbers(ground, "per", "left", "bottom", "west", "south");
  const x = west + (to.x - left) / per;
  const y = south + (bottom - to.y) / per;
  const field = [...form.querySelectorAll("[name=place]")].find((one) => one.dataset.key === group.dataset.key);
  if (!field) return;
  field.value = `${x.toFixed(1)}, ${y.toFixed(1)}`;
  field.closest("details").open = true;
  follow();
}

/** A channel dropped in its band: the nearest one its camera may use is chosen. */
function dropChannel(svg, group, to) {
  const frame = svg.querySelector("[data-low]");
  const [low, high, left, right] = numbers(frame, "low", "high", "left", "right");
  const mhz = low + ((to.x - left) / (right - left)) * (high - low);
  const list = [...part.querySelectorAll("select[name=ch]")].find((one) => one.dataset.letter === group.dataset.letter);
  const near = [...(list?.options ?? [])]
    .filter((one) => Number(one.dataset.mhz) >= low && Number(one.dataset.mhz) <= high)
    .sort((a, b) => Math.abs(a.dataset.mhz - mhz) - Math.abs(b.dataset.mhz - mhz))[0];
  if (!near) return;
  list.value = near.value;
  setMode("judge");
  follow();
}

part.addEventListener("pointerdown", (event) => {
  const group = event.target.closest(".spot, .channel");
  if (!group || event.button !== 0) return;
  event.preventDefault();
  const svg = group.ownerSVGElement;
  const from = within(svg, event);
  const isSpot = group.classList.contains("spot");
  group.classList.add("is-dragged");
  group.setPointerCapture(event.pointerId);
  const move = (moved) => {
    const now = within(svg, moved);
    group.setAttribute("transform", `translate(${now.x - from.x} ${isSpot ? now.y - from.y : 0})`);
  };
  const end = (ended) => {
    for (const [name, listener] of [["pointermove", move], ["pointerup", end], ["pointercancel", end]]) {
      group.removeEventListener(name, listener);
    }
    group.classList.remove("is-dragged");
    const to = within(svg, ended);
    const far = Math.hypot(to.x - from.x, to.y - from.y);
    if (ended.type === "pointercancel" || far < 3) group.removeAttribute("transform");
    else if (isSpot) dropSpot(svg, group, to);
    else dropChannel(svg, group, to);
  };
  group.addEventListener("pointermove", move);
  group.addEventListener("pointerup", end);
  group.addEventListener("pointercancel", end);
});
