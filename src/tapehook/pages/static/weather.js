// Weather: the answer on the air follows its fields; a check of the morning is kept at once, like a reading.

import { follower, queryOf } from "./follow.js";
import { at, markStale, send, sentences } from "./live.js";

const air = at("air");
const { now, soon } = follower(air, "air");

air.addEventListener("input", soon);

// --- keeping the weather in the job, taking it out, and taking that back ------------------------------------------

let before = null;

function typed() {
  return Object.fromEntries(queryOf(air));
}

/** Puts fields where they were; what a field is not told is blank. */
function fill(fields) {
  for (const field of air.elements) {
    if (field.type === "radio") field.checked = field.value === fields[field.name];
    else if (field.name) field.value = fields[field.name] ?? "";
  }
}

async function keep(fields, words) {
  try {
    const { ok, said } = await send(air.dataset.keepUrl, fields);
    at("kept").textContent = ok ? words : sentences(said);
    if (!ok) return false;
    before = said.before;
    at("undo-air").hidden = false;
    const { degrees, ...rest } = fields;
    at("take-out").hidden = Object.values(rest).every((value) => !value);
    return true;
  } catch {
    markStale();
    at("kept").textContent = "The laptop does not answer: nothing was kept. What you typed is still here.";
    return false;
  }
}

air.addEventListener("submit", async (event) => {
  event.preventDefault();
  now();
  if (!air.dataset.keepUrl || !at("kept")) return;
  const fields = typed();
  const { degrees, ...rest } = fields;
  if (Object.keys(rest).length === 0) at("kept").textContent = "Nothing is typed.";
  else await keep(fields, "Kept in the job.");
});

at("take-out")?.addEventListener("click", async () => {
  if (!(await keep({}, "Taken out of the job."))) return;
  fill({ degrees: typed().degrees });
  now();
});

at("undo-air")?.addEventListener("click", async () => {
  const fields = before;
  if (!(await keep(fields, "As it was before."))) return;
  fill(fields);
  now();
});

// --- the morning check -------------------------------------------------------------------------------------------

const check = at("check");

check?.addEventListener("keydown", (event) => {
  // Enter goes on to the next field, and keeps at the last, as at the bench.
  const { distance, position } = check.elements;
  if (event.key !== "Enter" || event.target !== distance || !distance.value.trim() || position.value.trim()) return;
  event.preventDefault();
  position.focus();
});
