// A part of a page that follows the fields of a form: asked for anew as they change, and put in the place of the old.
//
// One request at a time: what is changed meanwhile waits, and only the last of it goes. So an answer that comes late never
// covers a newer one.

import { announce, ask, markStale, onChange, put, sentences } from "./live.js";

const BUSY_MS = 100;

/** The fields of a form that say something, as the query of an address. */
export function queryOf(form) {
  const given = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value !== "") given.append(name, value);
  return given;
}

/**
 * Two functions that ask for the part `name` by the fields of `form`: `now`, and `soon` for what is being typed.
 *
 * query gives other fields than those of the form; shown is called with what had the focus once the part stands there;
 * keepsAddress: the address of the page carries the fields, to be sent on or loaded again.
 */
export function follower(form, name, { query = () => queryOf(form), shown, waitMs = 200, keepsAddress = false } = {}) {
  const place = document.querySelector(`[data-part="${name}"]`);
  let running = false;
  let wanted = false;
  let waiting = 0;

  async function once() {
    const fields = query().toString();
    const answer = await ask(`${form.dataset.partUrl}${fields ? `?${fields}` : ""}`);
    const said = await answer.json();
    if (wanted) return; // an answer to what is no longer asked
    if (!answer.ok) {
      announce(sentences(said));
      return;
    }
    const held = put(place, said.parts[name]);
    place.dataset.answers = String(Number(place.dataset.answers ?? 0) + 1);
    shown?.(held);
    if (keepsAddress) history.replaceState(null, "", fields ? `${location.pathname}?${fields}` : location.pathname);
  }

  async function run() {
    running = true;
    const busy = setTimeout(() => place.setAttribute("aria-busy", "true"), BUSY_MS);
    while (wanted) {
      wanted = false;
      try {
        await once();
      } catch {
        markStale();
      }
    }
    clearTimeout(busy);
    place.removeAttribute("aria-busy");
    running = false;
  }

  function now() {
    clearTimeout(waiting);
    wanted = true;
    if (!running) run();
  }

  function soon() {
    clearTimeout(waiting);
    waiting = setTimeout(now, waitMs);
  }

  if (!document.body.dataset.parts) onChange(now); // a page that names its parts has them renewed already
  return { now, soon };
}
