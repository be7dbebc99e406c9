// What all pages do: keep what they show fresh or say that it is old, send forms, open explanations, follow keys.
//
// A page names the topics it shows and the last change it saw, and asks again and again what changed since; the answer
// comes at once when something did, else after a little while. A silence is therefore a cut, and said to be one.

const body = document.body;
const TOKEN = { "x-tapehook-token": body.dataset.token };
const ASK_AGAIN_MS = [500, 1000, 2000, 4000];
const SILENCE_MS = 6000;
const SOON_MS = 400;
const CATCH_UP_MS = 700;
const TYPED_ANEW =
  "input:not([type=hidden],[type=radio],[type=checkbox],[data-keep]), textarea, select[data-anew]";

export const at = (id) => document.getElementById(id);

/** An element with its properties and what is in it. */
export function node(name, properties = {}, ...children) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}

/** A request that gives up after a silence. Throws what fetch throws. */
export async function ask(url, options = {}) {
  return fetch(url, { ...options, signal: AbortSignal.timeout(SILENCE_MS) });
}

/** Sends a JSON body with the token of this page; the answer and its JSON. */
export async function send(url, data, method = "POST") {
  const headers = { "content-type": "application/json", ...TOKEN };
  const answer = await ask(url, { method, headers, body: JSON.stringify(data) });
  const said = await answer.json();
  return { ok: answer.ok, status: answer.status, said };
}

export const sentences = (said) => (said.problems ?? []).map((one) => one.sentence).join("\n");

// --- fresh or stale --------------------------------------------------------------------------------------------

const state = { stamp: body.dataset.stamp, freshAt: Date.now(), stale: false };
const listeners = [];

/** Calls back when the topics of this page changed, and when the server is back after a cut. */
export function onChange(callback) {
  listeners.push(callback);
}

function clock(time) {
  return new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" });
}

/** The server did not answer: what stands here is of unknown age, and must look it. */
export function markStale() {
  if (!state.stale) {
    state.stale = true;
    body.dataset.stale = "yes";
    at("stale").textContent = `No answer from the laptop since ${clock(state.freshAt)}. What it shows may be old.`;
    at("stale").hidden = false;
  }
}

function markFresh() {
  state.freshAt = Date.now();
  if (!state.stale) return false;
  state.stale = false;
  delete body.dataset.stale;
  at("stale").hidden = true;
  return true;
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

async function watch() {
  for (let failures = 0; ; ) {
    try {
      const since = encodeURIComponent(state.stamp);
      const answer = await ask(`/api/watch?topics=${body.dataset.topics}&since=${since}`);
      if (answer.status === 401) {
        location.assign("/pair");
        return;
      }
      if (!answer.ok) throw new Error(`status ${answer.status}`);
      const { changed, stamp } = await answer.json();
      const isBack = state.stale;
      if (changed || isBack) await refresh(isBack ? undefined : stamp);
      state.stamp = stamp;
      markFresh();
      failures = 0;
      if (changed || isBack) for (const callback of listeners) callback();
    } catch {
      markStale();
      await pause(ASK_AGAIN_MS[Math.min(failures, ASK_AGAIN_MS.length - 1)]);
      failures += 1;
    }
  }
}

let running = null;
let queued = null;
let shown = numberOf(body.dataset.stamp);
let wanted = shown;

function numberOf(stamp) {
  return Number((stamp ?? "").split("-")[1] ?? NaN);
}

/**
 * Fetches the live parts of the page anew, after whatever is being fetched already: what it shows is never older.
 * With a stamp: only where what is shown is older than that.
 */
export function refresh(stamp) {
  wanted = Math.max(wanted, numberOf(stamp) || 0);
  if (!body.dataset.parts || shown >= numberOf(stamp)) return Promise.resolve();
  if (!running) {
    running = fetchParts().finally(() => (running = null));
    return running;
  }
  queued ??= running
    .catch(() => null)
    .then(() => {
      queued = null;
      return refresh(stamp);
    });
  return queued;
}

let catching = 0;

/** True when something newer than this stamp is known of: what came is a moment behind, and is to be fetched again. */
export function isBehind(stamp) {
  return wanted > numberOf(stamp);
}

/** What came may be a moment behind, while somebody is typing: then it is fetched once more, a little later. */
function catchUp(stamp) {
  clearTimeout(catching);
  if (isBehind(stamp)) catching = setTimeout(() => refresh().catch(markStale), CATCH_UP_MS);
}

async function fetchParts() {
  const address = new URL(body.dataset.parts, location.href);
  if (matchMedia("(max-width: 600px)").matches) address.searchParams.set("narrow", "true");
  const answer = await ask(address);
  if (!answer.ok) throw new Error(`status ${answer.status}`);
  const { parts, stamp } = await answer.json();
  shown = numberOf(stamp);
  catchUp(stamp);
  for (const [name, html] of Object.entries(parts)) {
    const place = document.querySelector(`[data-part="${name}"]`);
    if (place && lastPut.get(place) !== html) put(place, html);
  }
}

const lastPut = new WeakMap();

/** Puts a part anew: what was open in it stays open, and what had the focus has it again. Gives what had it. */
export function put(place, html) {
  const held = place.contains(document.activeElement) ? document.activeElement : null;
  const open = [...place.querySelectorAll("details")].map((one) => one.open);
  place.innerHTML = html; // made by our own templates, which escape whatever came from people
  lastPut.set(place, html);
  place.querySelectorAll("details").forEach((one, k) => (one.open = open[k] ?? one.open));
  if (held?.dataset.id) place.querySelector(`[data-id="${CSS.escape(held.dataset.id)}"]`)?.focus();
  else if (held?.id) at(held.id)?.focus();
  return held;
}

// --- forms and buttons that write ------------------------------------------------------------------------------

/** The fields of a form as the interface takes them. */
export function fieldsOf(form) {
  const data = JSON.parse(form.dataset.fixed ?? "{}");
  for (const field of form.elements) {
    if (!field.name || (field.type === "radio" && !field.checked)) continue;
    const value = field.type === "checkbox" ? field.checked : field.value;
    if (value === "" && form.dataset.skipEmpty !== undefined) continue;
    data[field.name] = value === "" && !field.required ? null : value;
  }
  return data;
}

function sayIn(form, text) {
  const place = form?.querySelector(".said");
  if (place) place.textContent = text;
}

function follow(address, said) {
  location.assign(address.replace(/\{(\w+)\}/g, (_, name) => said[name] ?? ""));
}

async function submit(form) {
  const button = form.querySelector("button:not([type])");
  const later = setTimeout(() => sayIn(form, "working …"), SOON_MS);
  if (button) button.disabled = true;
  try {
    const { ok, said } = await send(form.dataset.api, fieldsOf(form));
    clearTimeout(later);
    sayIn(form, ok ? "" : sentences(said));
    if (!ok) return;
    if (form.dataset.then) follow(form.dataset.then, said);
    else {
      for (const field of form.elements) {
        if (field.matches(TYPED_ANEW)) field.value = "";
      }
      form.closest("dialog")?.close();
      form.querySelector("[data-first]")?.focus();
      await refresh(said.stamp);
    }
  } catch {
    clearTimeout(later);
    markStale();
    sayIn(form, "The laptop does not answer: nothing was kept. What you typed is still here.");
  } finally {
    if (button) button.disabled = false;
  }
}

async function press(button) {
  button.disabled = true;
  const label = button.textContent;
  const later = setTimeout(() => (button.textContent = "working …"), SOON_MS);
  try {
    const { ok, said } = await send(button.dataset.api, JSON.parse(button.dataset.body ?? "{}"), button.dataset.method);
    if (ok && button.dataset.then) {
      follow(button.dataset.then, said);
      return;
    }
    if (ok) await refresh(said.stamp);
    const text = ok ? (said.said ?? "") : sentences(said);
    if (text) announce(text);
  } catch {
    markStale();
    announce("The laptop does not answer: nothing was done.");
  } finally {
    clearTimeout(later);
    button.textContent = label;
    button.disabled = false;
  }
}

/** Says something in the place the page has for it. */
export function announce(text) {
  const place = at("said") ?? document.querySelector(".said") ?? at("stale");
  place.textContent = text;
  place.hidden = false;
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.api) {
    event.preventDefault();
    submit(form);
  }
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.api) press(button);
  if (button.dataset.help) explain(button.dataset.help);
  if (button.dataset.keys !== undefined) at("keys").showModal();
  if (button.dataset.close !== undefined) button.closest("dialog").close();
});

// --- explanations ----------------------------------------------------------------------------------------------

async function explain(topic) {
  const dialog = at("help");
  at("help-title").textContent = "…";
  at("help-text").replaceChildren();
  dialog.showModal();
  try {
    const { title, sentences: lines } = await (await ask(`/part/help/${topic}`)).json();
    at("help-title").textContent = title;
    at("help-text").replaceChildren(
      ...lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })),
    );
  } catch {
    at("help-title").textContent = "The laptop does not answer";
  }
}

// --- the theme -------------------------------------------------------------------------------------------------

const THEMES = ["device", "paper", "dim"];

function themeNow() {
  const { theme, unpinned } = document.documentElement.dataset;
  return unpinned ? "device" : (theme ?? "device");
}

function showTheme() {
  const button = at("theme");
  button.textContent = themeNow();
  button.setAttribute("aria-label", `theme: ${themeNow() === "device" ? "as the device says" : themeNow()}`);
}

function nextTheme() {
  const name = THEMES[(THEMES.indexOf(themeNow()) + 1) % THEMES.length];
  delete document.documentElement.dataset.unpinned;
  if (name === "device") delete document.documentElement.dataset.theme;
  else document.documentElement.dataset.theme = name;
  try {
    localStorage.setItem("tapehook-theme", name);
  } catch {
    // Only a preference is lost.
  }
  showTheme();
}

// --- keys ------------------------------------------------------------------------------------------------------

const GO = { p: "prep", b: "bench", o: "onset", t: "shots", i: "light", w: "weather", r: "radio", s: "strips", l: "/lenses", k: "kit", h: "handover" };
let going = 0;

function isTyping(event) {
  return event.target.closest?.("input:not([type=range],[type=checkbox],[type=radio]), textarea, select, [contenteditable]");
}

function go(key) {
  const name = GO[key];
  if (name?.startsWith("/")) location.assign(name);
  else if (name && body.dataset.job) location.assign(`/job/${body.dataset.job}/${name}`);
}

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || isTyping(event) || document.querySelector("dialog[open]")) return;
  if (Date.now() - going < 1500 && GO[event.key]) {
    event.preventDefault();
    go(event.key);
    going = 0;
  } else if (event.key === "g") going = Date.now();
  else if (event.key === "?") at("keys").showModal();
  else if (event.key === "/") {
    event.preventDefault();
    document.querySelector("main input:not([type=hidden],[type=range],[type=radio],[type=checkbox])")?.focus();
  }
});

// On a phone the row of pages is wider than the screen: the one that is open must be seen.
document.querySelector(".top nav [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
at("theme").addEventListener("click", nextTheme);
showTheme();
watch();
