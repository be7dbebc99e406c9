// The shot as figures: every field of its file, so that nothing needs a pointer. A change is told when a field is left.

function element(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

const MORE = [
  ["lag_ms", "lag, ms"],
  ["speed_deg_s", "ring speed, ° a second"],
  ["acceleration_deg_s2", "ring acceleration, ° a second²"],
  ["frames_per_second", "frames a second"],
  ["shown_at_fps", "shown at, frames a second"],
  ["shutter_deg", "shutter, °"],
  ["squeeze", "squeeze"],
  ["close_up_dpt", "close-up lens, dioptres"],
  ["front_mm", "it stands, mm from the image plane"],
  ["tube_mm", "extension tube, mm"],
];

/** A number as people type it; undefined for an empty field, NaN for what is none. */
const typed = (text) => (text.trim() === "" ? undefined : Number(text.trim().replace(",", ".")));

function field(label, value, apply, { text = false, small = false, key = "" } = {}) {
  const input = element("input", { autocomplete: "off", "data-key": key, ...(text ? {} : { inputmode: "decimal" }) });
  input.value = value ?? "";
  input.addEventListener("change", () => {
    const given = text ? input.value.trim() || undefined : typed(input.value);
    const wrong = !text && Number.isNaN(given);
    input.setAttribute("aria-invalid", wrong);
    if (!wrong) apply(given);
  });
  if (small) {
    input.setAttribute("aria-label", label);
    return input;
  }
  return element("label", {}, `${label} `, input);
}

function choice(label, value, options, apply, key) {
  const select = element("select", { "data-key": key });
  for (const [name, title] of options) select.append(element("option", { value: name }, title));
  select.value = value ?? "";
  select.addEventListener("change", () => apply(select.value || undefined));
  return element("label", {}, `${label} `, select);
}

function tickbox(label, value, apply, key) {
  const input = element("input", { type: "checkbox", "data-key": key });
  input.checked = Boolean(value);
  input.addEventListener("change", () => apply(input.checked || undefined));
  return element("label", { class: "tickbox" }, input, element("span", {}, label));
}

function set(table, key, value) {
  if (value === undefined) delete table[key];
  else table[key] = value;
}

function button(text, label, press) {
  const node = element("button", { type: "button", "aria-label": label, class: "small" }, text);
  node.addEventListener("click", press);
  return node;
}

function tableOf(caption, heads, rows) {
  const hidden = () => element("span", { class: "visually-hidden" }, "take out");
  const head = element("tr", {}, ...heads.map((text) => element("th", { scope: "col" }, text || hidden())));
  const lines = rows.map((cells) => element("tr", {}, ...cells.map((cell) => element("td", {}, cell))));
  const table = element("table", { class: "figures" }, element("caption", {}, caption), element("thead", {}, head), element("tbody", {}, ...lines));
  return element("div", { class: "wide", role: "region", tabindex: "0", "aria-label": caption }, table);
}

function waypoints(name, path, edited, key) {
  const rows = path.map((point, at) => {
    const apply = (write) => (value) => {
      if (value === undefined) return;
      write(value);
      path.sort((one, other) => one.at_s - other.at_s);
      edited();
    };
    const label = (what) => `${name}, mark ${at + 1}: ${what}`;
    const figures = ["metres right", "metres away", "height, metres"].map((what, k) =>
      field(label(what), point.place_m[k], apply((value) => (point.place_m[k] = value)), { small: true, key: `${key}.${at}.${k}` }),
    );
    const time = field(label("seconds"), point.at_s, apply((value) => (point.at_s = value)), { small: true, key: `${key}.${at}.t` });
    const away = button("×", `take out mark ${at + 1} of ${name}`, () => {
      path.splice(at, 1);
      edited();
    });
    return [time, ...figures, path.length > 1 ? away : ""];
  });
  return tableOf(`Marks of ${name}`, ["second", "right", "away", "height", ""], rows);
}

function person(shot, one, at, edited) {
  const rename = (name) => {
    if (!name || shot.people.some((other) => other !== one && other.name === name)) return edited();
    for (const hold of shot.hold ?? []) hold.who = hold.who.map((who) => (who === one.name ? name : who));
    one.name = name;
    edited();
  };
  const spreads = [["missed_mark_cm", "missed mark, cm"], ["lean_cm", "lean, cm"], ["sway_cm", "sway, cm"]].map(([key, label]) =>
    field(label, one[key], (value) => (set(one, key, value), edited()), { key: `p${at}.${key}` }),
  );
  const away = button("take out", `take out ${one.name}`, () => {
    shot.people.splice(at, 1);
    for (const hold of shot.hold ?? []) hold.who = hold.who.filter((who) => who !== one.name);
    shot.hold = (shot.hold ?? []).filter((hold) => hold.who.length);
    edited();
  });
  return element(
    "fieldset",
    {},
    element("legend", {}, one.name),
    element("div", { class: "type" }, field("name", one.name, rename, { text: true, key: `p${at}.name` }), ...spreads),
    waypoints(one.name, one.path, edited, `p${at}`),
    ...(shot.people.length > 1 ? [away] : []),
  );
}

function holds(shot, edited) {
  const rows = (shot.hold ?? []).map((hold, at) => {
    const moment = (key, label) =>
      field(`hold ${at + 1}: ${label}`, hold[key], (value) => value !== undefined && ((hold[key] = value), edited()), { small: true, key: `h${at}.${key}` });
    const who = field(
      `hold ${at + 1}: who, the most important first`,
      hold.who.join(", "),
      (text) => text && ((hold.who = text.split(",").map((name) => name.trim()).filter(Boolean)), edited()),
      { text: true, small: true, key: `h${at}.who` },
    );
    const away = button("×", `take out hold ${at + 1}`, () => {
      shot.hold.splice(at, 1);
      edited();
    });
    return [moment("from_s", "from, seconds"), moment("to_s", "to, seconds"), who, away];
  });
  const add = button("add a hold", "add a hold", () => {
    shot.hold ??= [];
    const from = shot.hold.length ? shot.hold.at(-1).to_s + 0.7 : 0;
    const names = shot.people.map((one) => one.name);
    shot.hold.push({ from_s: from, to_s: from + 2, who: [names[shot.hold.length % names.length]] });
    edited();
  });
  const none = element("p", { class: "quiet" }, "No holds: everybody is to be sharp throughout.");
  return element(
    "fieldset",
    {},
    element("legend", {}, "Who is held when"),
    rows.length ? tableOf("Holds; the end of one is the cue for the next", ["from, s", "to, s", "who, the most important first", ""], rows) : none,
    add,
  );
}

function zoom(shot, edited) {
  const written = (shot.focal_path ?? []).map((point) => `${point.at_s} s = ${point.focal_mm}`).join(", ");
  return field(
    "zoom: second = focal length, mm",
    written,
    (text) => {
      const points = (text ?? "").split(/[,;]/).map((part) => part.replace(/mm|s/g, "").split("=").map((one) => Number(one.trim())));
      const whole = points.filter((pair) => pair.length === 2 && pair.every(Number.isFinite));
      set(shot, "focal_path", whole.length ? whole.map(([at_s, focal_mm]) => ({ at_s, focal_mm })) : undefined);
      edited();
    },
    { text: true, key: "focal_path" },
  );
}

/** Shows all fields of a shot in `place`; the one that had the focus has it again. */
export function showFigures(place, { shot, data, edited }) {
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
  const wasOpen = place.querySelector("details")?.open ?? false;
  const facts = element(
    "div",
    { class: "type" },
    field("title", shot.title, (value) => (set(shot, "title", value), edited()), { text: true, key: "title" }),
    choice("lens", shot.lens, data.lenses.map((lens) => [lens.id, lens.title]), (value) => ((shot.lens = value), edited()), "lens"),
    choice("camera", shot.camera, [["", "not said"], ...data.cameras.map((letter) => [letter, letter])], (value) => (set(shot, "camera", value), edited()), "camera"),
    field("stop", shot.stop, (value) => (set(shot, "stop", value && !/^t/i.test(value) ? `T${value}` : value), edited()), { text: true, key: "stop" }),
    field("part of the depth used at most", shot.within, (value) => (set(shot, "within", value), edited()), { key: "within" }),
  );
  const more = element("details", wasOpen ? { open: "" } : {}, element("summary", {}, "motor, rate, zoom, close-up lens, tube, extender, squeeze"));
  more.append(
    element("div", { class: "type" }, ...MORE.map(([key, label]) => field(label, shot[key], (value) => (set(shot, key, value), edited()), { key })), zoom(shot, edited)),
    tickbox("the lens is on its extender", shot.extender_on, (value) => (set(shot, "extender_on", value), edited()), "extender_on"),
  );
  const camera = shot.camera_path?.length ? [element("fieldset", {}, element("legend", {}, "Camera"), waypoints("the camera", shot.camera_path, edited, "c"))] : [];
  place.replaceChildren(facts, ...shot.people.map((one, at) => person(shot, one, at, edited)), holds(shot, edited), ...camera, more);
  if (focused) place.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}
