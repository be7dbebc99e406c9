// The card of a stop pull: a stopwatch, and where stop, iris and filter are at its moment. It needs no network any more.

const at = (id) => document.getElementById(id);
const { unit, samples } = JSON.parse(at("data").textContent);
const SIGN = { deg: "°", percent: " %", mm: " mm", count: "" };
const ROWS = 13;
const WHOLE = ["1", "1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22", "32", "45", "64"];

const state = { from: 0, at: 0, running: false };

function stopText(t) {
  const thirds = Math.max(Math.round(6 * Math.log2(t)), 0);
  return `T${WHOLE[Math.min(Math.floor(thirds / 3), WHOLE.length - 1)]}${["", " 1/3", " 2/3"][thirds % 3]}`;
}

const iris = (value) => `${value.toFixed(unit === "count" ? 0 : 1)}${SIGN[unit]}`;

/** The sample at a moment, held before the first and after the last. */
function sampleAt(seconds) {
  return samples.find((one) => one[0] >= seconds - 1e-9) ?? samples.at(-1);
}

function show() {
  const sample = sampleAt(state.at);
  at("watch").textContent = state.at.toFixed(1);
  at("now-stop").textContent = stopText(sample[1]);
  at("now-iris").textContent = iris(sample[2]);
  at("now-extra").textContent = `${sample[3].toFixed(0)} %`;
  const [first, last] = [samples[0][0], samples.at(-1)[0]];
  at("progress").value = Math.min(Math.max((state.at - first) / (last - first), 0), 1);
  const left = first - state.at;
  at("next").textContent =
    left > 0 ? `begins in ${left.toFixed(1)} s` : state.at >= last ? "there: it rests" : `${(last - state.at).toFixed(1)} s to go`;
}

function tick(now) {
  if (!state.running) return;
  state.at = (now - state.from) / 1000;
  show();
  requestAnimationFrame(tick);
}

function run() {
  state.running = !state.running;
  at("run").textContent = state.running ? "stop" : "start";
  if (state.running) {
    state.from = performance.now() - state.at * 1000;
    requestAnimationFrame(tick);
  }
}

function fillMoments() {
  for (let k = 0; k < ROWS; k += 1) {
    const sample = samples[Math.round((k * (samples.length - 1)) / (ROWS - 1))];
    const row = document.createElement("tr");
    const cells = [sample[0].toFixed(1), stopText(sample[1]), iris(sample[2]), `${sample[3].toFixed(0)} %`, `${sample[4].toFixed(1)}°`];
    for (const text of cells) row.append(Object.assign(document.createElement("td"), { textContent: text }));
    at("moments").append(row);
  }
}

if (samples.length) {
  fillMoments();
  show();
  at("run").addEventListener("click", run);
  at("back").addEventListener("click", () => {
    state.at = 0;
    state.from = performance.now();
    show();
  });
}
