// The bench: readings typed one after the other, kept in order even while the network is cut, and put right by touch.

import { announce, at, fieldsOf, markStale, onChange, refresh, send, sentences } from "./live.js";

const form = at("reading");
const WAITING = `tapehook-waiting-${location.pathname}`;
const ASK_AGAIN_MS = 1000;

// --- readings that the server has not confirmed ---------------------------------------------------------------

function recall() {
  try {
    return JSON.parse(localStorage.getItem(WAITING) ?? "[]");
  } catch {
    return [];
  }
}

const waiting = recall();
let sending = false;

function keepWaiting() {
  try {
    localStorage.setItem(WAITING, JSON.stringify(waiting));
  } catch {
    // They are still in the page.
  }
  showWaiting();
}

function showWaiting() {
  const list = at("waiting");
  list.hidden = waiting.length === 0;
  list.replaceChildren(
    ...waiting.map((one) => {
      const item = document.createElement("li");
      item.textContent = `${one.data.distance} at ${one.data.position}: ${one.refused ?? "not kept yet"} `;
      if (one.refused) item.append(backButton(one));
      return item;
    }),
  );
}

function backButton(one) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "put right";
  button.addEventListener("click", () => {
    waiting.splice(waiting.indexOf(one), 1);
    keepWaiting();
    form.elements.distance.value = "";
    form.elements.position.value = "";
    giveBack(one.data, one.refused);
  });
  return button;
}

function name() {
  // No randomUUID without a secure context, and a page on the set's network has none.
  return [...crypto.getRandomValues(new Uint8Array(12))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

const unsent = () => waiting.find((one) => !one.refused);

/** What is refused goes back into the fields; where they are in use, or the device is put out, it stays on the list. */
function refused(one, status, text) {
  const { distance, position } = form.elements;
  if (status === 422 && !distance.value && !position.value) {
    waiting.splice(waiting.indexOf(one), 1);
    giveBack(one.data, text);
  } else {
    one.refused = text;
    announce(text);
  }
}

/** Sends what waits, in order; what cannot be reached is tried again, what is refused goes back into the fields. */
async function flush() {
  if (sending) return;
  sending = true;
  let stamp;
  try {
    for (let next = unsent(); next; next = unsent()) {
      const { ok, status, said } = await send(form.dataset.queue, next.data);
      if (!ok && (status >= 500 || status === 409)) throw new Error(`status ${status}`);
      stamp = said.stamp ?? stamp;
      if (ok) waiting.splice(waiting.indexOf(next), 1);
      else refused(next, status, sentences(said));
      keepWaiting();
    }
  } catch {
    markStale();
    setTimeout(flush, ASK_AGAIN_MS);
    return;
  } finally {
    sending = false; // before the page is shown anew: what is typed meanwhile must not wait for that
  }
  if (stamp) await refresh(stamp).catch(markStale);
}

function giveBack(data, text) {
  const { distance, position } = form.elements;
  if (!distance.value && !position.value) {
    distance.value = data.distance;
    position.value = data.position;
  }
  announce(text);
  const wrong = /^position/m.test(text) && !/^distance/m.test(text) ? position : distance;
  wrong.setAttribute("aria-invalid", "true");
  wrong.focus();
  wrong.select();
}

function keep() {
  const { distance, position } = form.elements;
  if (!distance.value.trim()) return distance.focus();
  if (!position.value.trim()) return position.focus();
  const { unit, ...data } = fieldsOf(form);
  waiting.push({ data: { ...data, unit, sent: name() } });
  keepWaiting();
  for (const field of [distance, position]) {
    field.value = "";
    field.removeAttribute("aria-invalid");
  }
  announce("");
  distance.focus();
  return flush();
}

function otherWay() {
  const other = [...form.querySelectorAll("[name=approach]")].find((radio) => !radio.checked);
  other.checked = true;
}

if (form) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep();
  });
  form.elements.distance.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && form.elements.distance.value.trim()) {
      event.preventDefault();
      form.elements.position.focus();
    }
  });
  onChange(() => {
    if (unsent()) flush();
  });
  showWaiting();
  if (unsent()) flush();
}

// --- a reading put right --------------------------------------------------------------------------------------

const dialog = at("correct");
const correction = dialog.querySelector("form");

document.addEventListener("click", (event) => {
  const button = event.target.closest("button.reading");
  if (!button || !form) return;
  correction.elements.id.value = button.dataset.id;
  correction.elements.distance.value = "";
  correction.elements.distance.placeholder = button.dataset.distance;
  correction.elements.position.value = button.dataset.position;
  dialog.showModal();
  correction.elements.position.focus();
  correction.elements.position.select();
});

at("withdraw").addEventListener("click", async () => {
  const { id, reason } = fieldsOf(correction);
  try {
    const { ok, said } = await send(correction.dataset.api, { id, reason: reason || "withdrawn" });
    if (ok) {
      dialog.close();
      await refresh(said.stamp);
    } else correction.querySelector(".said").textContent = sentences(said);
  } catch {
    markStale();
  }
});

// --- another lens ---------------------------------------------------------------------------------------------

at("lens-choice").addEventListener("change", (event) => location.assign(event.target.value));

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey && event.altKey && event.key === "z") at("undo")?.click();
  else if (event.altKey && event.key === "w" && form) otherWay();
  else if (event.altKey && event.key === "n") at("lens-after")?.click();
  else if (event.altKey && event.key === "p") at("lens-before")?.click();
  else return;
  event.preventDefault();
});
