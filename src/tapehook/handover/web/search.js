// Finding a lens by whatever is written on it or known of it.
//
// May live here: pure functions of text. May not: the document.

const IDLE_WORDS = new Set(["mm", "lens", "serial", "number", "no", "sn", "camera", "cam", "body", "the", "prime"]);

/** Letters and digits only, small, without accents: what people agree on when they type in the dark. */
function folded(text) {
  return text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();
}

function words(text) {
  return folded(text).match(/\d+(?:[.,]\d+)?|\p{L}+|\d+/gu) ?? [];
}

/** What of a lens can be searched, worked out once for each lens. */
export function searchEntry(lens) {
  const texts = [lens.id, lens.title, lens.serial, lens.model, lens.twin].filter(Boolean);
  const camera = folded(lens.camera ?? "").split(" ").filter(Boolean);
  const all = [...new Set([...texts.flatMap(words), ...camera])];
  const solid = texts.map((text) => folded(text).replace(/[^\p{L}\p{N}]/gu, ""));
  return { words: all, camera, solid, short: lens.focalMinMm ?? lens.focalMm, long: lens.focalMm };
}

/**
 * Indices of the entries that fit the query, best first, in the order of the job among equals. Each word must fit
 * somewhere; when nothing fits, words one slip away (a letter or digit wrong, missing, extra, or two swapped) count.
 */
export function search(entries, query) {
  const typed = words(query);
  const useful = typed.filter((word) => !IDLE_WORDS.has(word));
  const wanted = useful.length || !typed.length ? useful : typed;
  const exact = ranked(entries, wanted, score);
  const solid = [wanted.join("")];
  const tries = [() => ranked(entries, solid, score), () => ranked(entries, wanted, slipScore), () => ranked(entries, solid, slipScore)];
  return tries.reduce((found, next) => (found.length ? found : next()), exact);
}

function ranked(entries, wanted, rate) {
  const found = [];
  entries.forEach((entry, index) => {
    const scores = wanted.map((word) => rate(entry, word));
    if (scores.every((points) => points > 0)) found.push({ index, points: scores.reduce((a, b) => a + b, 0) });
  });
  return found.sort((a, b) => b.points - a.points || a.index - b.index).map((hit) => hit.index);
}

function score(entry, word) {
  const number = Number(word.replace(",", "."));
  if (number === entry.long || number === entry.short) return 10;
  if (entry.camera.includes(word)) return 9;
  if (entry.words.includes(word)) return 8;
  if (entry.long && number >= entry.short && number <= entry.long) return 6;
  if (entry.words.some((other) => other.startsWith(word))) return 5;
  if (entry.solid.some((text) => text.startsWith(word))) return 4;
  return entry.solid.some((text) => text.includes(word)) ? 2 : 0;
}

function slipScore(entry, word) {
  const points = score(entry, word);
  if (points || word.length < 3) return points;
  return entry.words.some((other) => isOneSlipAway(word, other)) ? 1 : 0;
}

/** True when one sign was mistyped, left out or added, or two neighbours swapped. */
function isOneSlipAway(typed, meant) {
  if (Math.abs(typed.length - meant.length) > 1) return false;
  let start = 0;
  while (start < typed.length && typed[start] === meant[start]) start += 1;
  const rest = typed.slice(start);
  const other = meant.slice(start);
  if (typed.length !== meant.length) return rest.slice(1) === other || rest === other.slice(1);
  const isSwapped = rest[0] === other[1] && rest[1] === other[0] && rest.slice(2) === other.slice(2);
  return rest.slice(1) === other.slice(1) || isSwapped;
}
