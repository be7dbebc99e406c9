// The pull card: a stopwatch, and beside it where the ring must be now and at the next mark. It asks nothing of anybody.

const at = (id) => document.getElementById(id);
const { marks, moments } = JSON.parse(at("data").textContent);
const state = { startedAt: null, before: 0, mark: -1, awake: null };

const seconds = () => state.before + (state.startedAt === null ? 0 : (performance.now() - state.startedAt) / 1000);

/** The last of a list of moments that has come. */
function upTo(list, time) {
  let found = 0;
  while (found + 1 < list.length && list[found + 1].timeS <= time + 1e-6) found += 1;
  return found;
}

function show() {
  const last = moments.at(-1).timeS;
  const time = Math.min(seconds(), last);
  const moment = moments[upTo(moments, time)];
  at("clock").textContent = `${time.toFixed(1)} s`;
  at("distance").textContent = moment.focus;
  at("ring").textContent = moment.ring;
  const mark = upTo(marks, time);
  const next = marks[mark + 1];
  at("next").textContent = next ? `in ${(next.timeS - time).toFixed(1)} s: ${next.who}, ${next.feet} · ${next.metres}` : "the last mark";
  if (mark !== state.mark) {
    [...at("marks").children].forEach((item, index) => item.toggleAttribute("aria-current", index === mark));
    if (state.startedAt !== null) at("spoken").textContent = `${marks[mark].who}, ${marks[mark].feet}`;
    state.mark = mark;
  }
  if (state.startedAt !== null && seconds() >= last) stop();
}

function run() {
  show();
  if (state.startedAt !== null) requestAnimationFrame(run);
}

async function start() {
  if (seconds() >= moments.at(-1).timeS) state.before = 0;
  state.startedAt = performance.now();
  at("start").textContent = "stop";
  try {
    state.awake = await navigator.wakeLock?.request("screen");
  } catch {
    // The screen may go dark by itself; the watch goes on.
  }
  run();
}

function stop() {
  state.before = seconds();
  state.startedAt = null;
  at("start").textContent = "start";
  state.awake?.release().catch(() => null);
}

if (marks?.length) {
  at("start").addEventListener("click", () => (state.startedAt === null ? start() : stop()));
  at("back").addEventListener("click", () => {
    stop();
    state.before = 0;
    show();
  });
  show();
}
