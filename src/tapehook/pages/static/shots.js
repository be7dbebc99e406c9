// Shots: a floor plan that answers while it is dragged. Nothing is kept until "keep" is pressed.
//
// The page holds one shot with the keys of its file. Each change is sent to the laptop, one request at a time, the newest
// state last; the laptop plans it and sends figures and the picture of the lane back.

import { announce, ask, at, markStale, onChange, send, sentences } from "./live.js";
import { FloorPlan, cameraPath, round } from "./shot_plan.js";
import { showFigures } from "./shot_figures.js";

const job = document.body.dataset.job;
const data = JSON.parse(at("data").textContent);
const mayWrite = document.body.dataset.right !== "view";
const SIGNS = { fix: "✗", watch: "!", info: "i" };
const EXACT_AFTER_MS = 600;
const LONGEST_SENT = 16_000;
const narrow = matchMedia("(max-width: 600px)");

const state = {
  name: data.open?.name ?? null,
  mark: data.open?.mark ?? "",
  shot: data.open?.shot ?? null,
  chosen: { who: 0, index: 0 },
  dirty: false,
  moments: [],
};
const whatIf = { stop: null, lens: null, back: 0, pace: 1 };

function element(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

// --- what if -----------------------------------------------------------------------------------------------------

const stopNumber = (text) => Number(String(text ?? "").replace(/^T/i, "").replace(",", ".")) || null;

/** The shot with the sliders in it: what is asked, and what "take it over" makes of it. */
function supposed() {
  const shot = structuredClone(state.shot);
  if (whatIf.stop) shot.stop = whatIf.stop;
  if (whatIf.lens) shot.lens = whatIf.lens;
  if (whatIf.back && shot.people.length) {
    const path = structuredClone(cameraPath(shot));
    const [from, to] = [path[0].place_m, shot.people[0].path.at(-1).place_m];
    const away = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1;
    for (const point of path) {
      point.place_m[0] = round(point.place_m[0] - ((to[0] - from[0]) / away) * whatIf.back);
      point.place_m[1] = round(point.place_m[1] - ((to[1] - from[1]) / away) * whatIf.back);
    }
    shot.camera_path = path;
  }
  if (whatIf.pace !== 1) {
    const slower = (table, ...keys) => keys.forEach((key) => (table[key] = round(table[key] / whatIf.pace)));
    const paths = [...shot.people.map((one) => one.path), shot.camera_path ?? [], shot.focal_path ?? []];
    for (const point of paths.flat()) slower(point, "at_s");
    for (const hold of shot.hold ?? []) slower(hold, "from_s", "to_s");
  }
  return shot;
}

const isSupposed = () => Boolean(whatIf.stop || whatIf.lens || whatIf.back || whatIf.pace !== 1);

function resetWhatIf() {
  Object.assign(whatIf, { stop: null, lens: null, back: 0, pace: 1 });
  showWhatIf();
}

function lensNow() {
  return data.lenses.find((lens) => lens.id === (whatIf.lens ?? state.shot?.lens));
}

/** Stops the lens has: none wider than it opens. */
function stopsNow() {
  const widest = lensNow()?.widest ?? 0;
  return data.stops.filter((stop) => stopNumber(stop) >= widest * 0.999);
}

function showWhatIf() {
  const shot = state.shot;
  if (!shot) return;
  const lenses = data.lenses.map((lens) => lens.id);
  const stops = stopsNow();
  const stop = stopNumber(whatIf.stop ?? shot.stop ?? data.shootingStop);
  const nearest = stops.reduce((best, one, k) => (Math.abs(Math.log(stopNumber(one) / (stop ?? 2))) < Math.abs(Math.log(stopNumber(stops[best]) / (stop ?? 2))) ? k : best), 0);
  at("if-stop").max = Math.max(stops.length - 1, 0);
  at("if-stop").value = nearest;
  at("if-stop-out").textContent = whatIf.stop ?? shot.stop ?? data.shootingStop ?? "the job's";
  at("if-lens").max = Math.max(lenses.length - 1, 0);
  at("if-lens").value = Math.max(lenses.indexOf(whatIf.lens ?? shot.lens), 0);
  at("if-lens-out").textContent = lensNow()?.title ?? shot.lens;
  at("if-back").value = whatIf.back;
  at("if-back-out").textContent = `${whatIf.back > 0 ? "+" : ""}${whatIf.back.toFixed(1)} m`;
  at("if-pace").value = whatIf.pace;
  at("if-pace-out").textContent = `${Math.round(100 * whatIf.pace)} %`;
  for (const id of ["if-stop", "if-lens", "if-back", "if-pace"]) at(id).setAttribute("aria-valuetext", at(`${id}-out`).textContent);
  for (const id of ["if-take", "if-undo"]) at(id).disabled = !isSupposed();
}

function onSlider(id, apply) {
  at(id).addEventListener("input", () => {
    if (!state.shot) return;
    apply(Number(at(id).value));
    showWhatIf();
    changed(false);
  });
}

onSlider("if-stop", (value) => (whatIf.stop = stopsNow()[value] ?? null));
onSlider("if-lens", (value) => {
  whatIf.lens = data.lenses[value]?.id ?? null;
  const widest = lensNow()?.widest;
  const stop = stopNumber(whatIf.stop ?? state.shot.stop);
  if (stop && widest && stop < widest) whatIf.stop = stopsNow()[0] ?? whatIf.stop;
});
onSlider("if-back", (value) => (whatIf.back = value));
onSlider("if-pace", (value) => (whatIf.pace = value));
at("if-take").addEventListener("click", () => {
  state.shot = supposed();
  resetWhatIf();
  edited();
});
at("if-undo").addEventListener("click", () => {
  resetWhatIf();
  changed(false);
});

// --- asking ------------------------------------------------------------------------------------------------------

let asking = false;
let changedAt = null;
let exactTimer = 0;

/** Something changed: draw at once what needs no answer, and ask. */
function changed(isEdit) {
  if (isEdit) state.dirty = true;
  changedAt ??= performance.now();
  plan.draw();
  clearTimeout(exactTimer);
  askNext();
}

async function askNext() {
  if (asking || changedAt === null || !state.shot) return;
  asking = true;
  const since = changedAt;
  changedAt = null;
  try {
    const answer = await fetchPlan(false);
    show(answer);
    performance.measure("shot-follows", { start: since, end: performance.now() });
    if (answer.feasible === false) exactTimer = setTimeout(askExactly, EXACT_AFTER_MS);
  } catch {
    markStale();
    at("problems").textContent = "The laptop does not answer: what stands here is older than the plan.";
  }
  asking = false;
  askNext();
}

/** The fewest soft frames take seconds at worst: asked for when nothing has moved for a while. */
async function askExactly() {
  if (asking || changedAt !== null) return;
  try {
    const answer = await fetchPlan(true);
    if (changedAt === null && !asking) show(answer);
  } catch {
    markStale();
  }
}

async function fetchPlan(exact) {
  const shot = encodeURIComponent(JSON.stringify(supposed()));
  if (shot.length > LONGEST_SENT * 2) return { problems: ["This shot is too long for the page: plan it with tapehook pull."] };
  const query = `shot=${shot}${narrow.matches ? "&narrow=true" : ""}${exact ? "&exact=true" : ""}`;
  const answer = await ask(`/api/jobs/${job}/shot-plan?${query}`);
  const said = await answer.json();
  return answer.ok ? said : { problems: [sentences(said)] };
}

// --- showing -----------------------------------------------------------------------------------------------------

function show(answer) {
  at("problems").textContent = (answer.problems ?? []).join("\n");
  at("shots").toggleAttribute("data-unanswered", answer.problems.length > 0);
  if (answer.problems.length) return;
  at("lane").innerHTML = answer.lane; // made by our own pictures, which escape whatever came from people
  at("answers").replaceChildren(
    ...answer.answers.map(({ term, text }) => element("div", {}, element("dt", {}, term), element("dd", {}, text))),
  );
  at("answers").dataset.feasible = answer.feasible;
  at("found").replaceChildren(...answer.findings.map(finding));
  at("beats").replaceChildren(...answer.beats.map((one) => row(one.who, one.when, one.chance, one.mean, one.culprit)));
  at("marks").replaceChildren(
    ...answer.marks.map((one) =>
      row(`${one.timeS.toFixed(1)} s`, one.who, one.feet, one.metres, one.position, one.strip, one.near, one.far),
    ),
  );
  at("assumptions").replaceChildren(...answer.assumptions.map((text) => element("li", {}, text)));
  state.moments = answer.moments;
  at("moment").max = Math.max(answer.moments.length - 1, 0);
  showMoment();
}

function row(first, ...cells) {
  return element("tr", {}, element("th", { scope: "row" }, first), ...cells.map((cell) => element("td", {}, cell)));
}

function finding(one) {
  const sign = element("span", { "aria-hidden": "true" }, SIGNS[one.severity]);
  const severity = element("span", { class: `severity ${one.severity}` }, sign, ` ${one.severity}`);
  const text = element("p", {}, severity, ` ${one.message}`);
  return element("li", { class: `finding ${one.severity}` }, text, element("p", { class: "next" }, one.next));
}

function showMoment() {
  const moment = state.moments[Number(at("moment").value)];
  if (!moment) return;
  const text = `${moment.timeS.toFixed(1)} s: ring ${moment.ring}, in focus ${moment.focus}`;
  at("moment-out").textContent = text;
  at("moment").setAttribute("aria-valuetext", text);
  plan.time = moment.timeS;
  plan.fieldDeg = moment.fieldDeg;
  if (!plan.held) plan.draw();
}

at("moment").addEventListener("input", showMoment);

function showShots() {
  const options = data.shots.map(({ name, title }) => element("option", { value: name }, `${name} · ${title}`));
  if (state.shot && !data.shots.some((one) => one.name === state.name)) {
    options.push(element("option", { value: state.name }, `${state.name} · not kept yet`));
  }
  at("shot-choice").replaceChildren(...(options.length ? options : [element("option", { value: "" }, "no shots yet")]));
  at("shot-choice").value = state.name ?? "";
  at("to-card").href = `/job/${job}/card?shot=${encodeURIComponent(state.name ?? "")}`;
  at("to-card").hidden = !state.mark;
  at("shots").hidden = !state.shot;
  if (at("keep")) {
    at("keep").disabled = !state.shot || !state.dirty;
    at("take-out").disabled = !state.mark;
  }
  if (state.dirty) at("said").textContent = mayWrite ? "Not kept yet." : "Tried here only: this device may not keep it.";
}

/** After an edit of the shot itself: figures, list and answers anew. */
function edited() {
  state.dirty = true;
  showEverything();
  changed(true);
}

function showEverything() {
  showShots();
  showWhatIf();
  if (state.shot) showFigures(at("editing"), { shot: state.shot, data, edited });
}

// --- the plan, and adding to it -----------------------------------------------------------------------------------

const plan = new FloorPlan(at("plan"), {
  read: () => state.shot,
  mayMove: true,
  chosen: (who, index) => (state.chosen = { who, index }),
  moved: (done) => {
    if (done) edited();
    else changed(true);
  },
});

function lastSecond() {
  return Math.max(2, ...state.shot.people.flatMap((one) => one.path.map((point) => point.at_s)));
}

at("add-person")?.addEventListener("click", () => {
  const names = state.shot.people.map((one) => one.name);
  const name = ["Ada", "Ivo", "Noor", "Bas", "Tess", "Joost"].find((one) => !names.includes(one)) ?? `somebody ${names.length + 1}`;
  const place = [round(0.6 * (names.length % 2 ? -1 : 1)), 3 + names.length * 0.5, 1.6];
  state.shot.people.push({ name, path: [{ at_s: 0, place_m: place }] });
  state.chosen = { who: names.length, index: 0 };
  edited();
});

at("add-point")?.addEventListener("click", () => {
  const { who } = state.chosen;
  if (who < 0 && !state.shot.camera_path?.length) state.shot.camera_path = structuredClone(cameraPath(state.shot));
  const path = who < 0 ? state.shot.camera_path : state.shot.people[Math.min(who, state.shot.people.length - 1)]?.path;
  if (!path) return;
  const last = path.at(-1);
  const [x, y, height] = last.place_m;
  path.push({ at_s: path.length > 1 ? last.at_s + 2 : lastSecond(), place_m: [x, round(Math.max(y - 1, 0.5)), height] });
  edited();
  at("plan").querySelector(`[data-who="${who}"][data-index="${path.length - 1}"]`)?.focus({ preventScroll: true });
});

// --- choosing, beginning, keeping ----------------------------------------------------------------------------------

at("shot-choice").addEventListener("change", () => {
  const name = at("shot-choice").value;
  if (name && name !== state.name) location.assign(`/job/${job}/shots?shot=${encodeURIComponent(name)}`);
});

at("new-shot")?.addEventListener("click", () => at("naming").showModal());
at("naming-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const { name, title } = event.target.elements;
  if (data.shots.some((one) => one.name === name.value)) {
    name.setCustomValidity("There is a shot of this name already.");
    name.reportValidity();
    name.setCustomValidity("");
    return;
  }
  const lens = data.lenses.find((one) => one.focalMm >= 45 && one.focalMm <= 60) ?? data.lenses[0];
  if (!lens) {
    at("naming").close();
    announce("No lens of this job has a map yet: read one at the bench first.");
    return;
  }
  const people = [{ name: "Ada", path: [{ at_s: 0, place_m: [0.3, 4, 1.6] }, { at_s: 3, place_m: [0.3, 2, 1.6] }] }];
  const shot = { title: title.value || name.value, lens: lens.id, frames_per_second: 24, people, hold: [] };
  Object.assign(state, { name: name.value, mark: "", shot, chosen: { who: 0, index: 0 } });
  at("naming").close();
  resetWhatIf();
  edited();
});

async function keep(shot) {
  const { ok, said } = await send(`/api/jobs/${job}/shots`, { name: state.name, mark: state.mark, shot });
  if (!ok) {
    announce(sentences(said));
    return;
  }
  Object.assign(state, { mark: said.mark, dirty: false });
  data.shots = data.shots.filter((one) => one.name !== state.name);
  if (!shot) {
    location.assign(`/job/${job}/shots`);
    return;
  }
  data.shots.push({ name: state.name, title: shot.title ?? state.name });
  data.shots.sort((one, other) => one.name.localeCompare(other.name));
  announce("Kept.");
  showShots();
}

function writing(act) {
  return async () => {
    try {
      await act();
    } catch {
      markStale();
      announce("The laptop does not answer: nothing was kept. It is still here.");
    }
  };
}

at("keep")?.addEventListener("click", writing(() => keep(state.shot)));
at("take-out")?.addEventListener("click", writing(() => keep(null)));

at("make-table").addEventListener("click", async () => {
  at("make-table").disabled = true;
  at("table-said").textContent = "working …";
  try {
    const answer = await ask(`/api/jobs/${job}/shot-table?shot=${encodeURIComponent(JSON.stringify(supposed()))}`);
    const said = await answer.json();
    at("table-said").textContent = answer.ok ? "" : sentences(said);
    if (answer.ok) showTable(said);
  } catch {
    markStale();
    at("table-said").textContent = "The laptop does not answer.";
  }
  at("make-table").disabled = false;
});

function showTable({ stops, rows }) {
  const heads = ["lens", ...stops].map((text) => element("th", { scope: "col" }, text));
  const lines = rows.map((one) => {
    if (one.refusal) return element("tr", {}, element("th", { scope: "row" }, one.lens), element("td", { colspan: stops.length, class: "quiet" }, one.refusal));
    const cells = one.cells.map(({ sign, word }) => element("td", { class: word.replaceAll(" ", "-") }, element("span", { "aria-hidden": "true" }, `${sign} `), word));
    return element("tr", {}, element("th", { scope: "row" }, one.lens), ...cells);
  });
  at("table").replaceChildren(element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...lines));
}

// A lens measured meanwhile answers otherwise.
onChange(() => {
  if (state.shot) changed(false);
});
addEventListener("resize", () => state.shot && plan.draw());

if (data.problems.length) announce(data.problems.join("\n"));
showEverything();
if (state.shot) changed(false);
