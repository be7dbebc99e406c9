// Kit: what somebody else keeps of the job meanwhile stands in the fields at once, or is told where one is being typed in.

import { at, onChange } from "./live.js";

const form = at("facts");
const NAMES = { units: "distances in", shooting_stop: "shooting stop" };

function shownAs(name, value) {
  return name === "units" ? form.elements.units.querySelector(`[value="${CSS.escape(value)}"]`).text : value || "no stop";
}

/** A field that nobody has touched follows; one that somebody has keeps what was typed, with a word on what is newer. */
function renew() {
  const kept = at("facts-now").dataset;
  const told = [];
  for (const [name, label] of Object.entries(NAMES)) {
    const field = form.elements[name];
    const was = form.elements[`was_${name}`];
    if (kept[name] === was.value) continue;
    if (field.value === was.value) field.value = kept[name];
    else if (field.value !== kept[name]) {
      told.push(`${label}: somebody else kept ${shownAs(name, kept[name])} meanwhile; keep writes yours over it.`);
    }
    was.value = kept[name];
  }
  if (told.length) form.querySelector(".said").textContent = told.join("\n");
}

onChange(renew);
