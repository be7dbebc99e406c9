// How the trade writes it, in the browser: distances and stops read from what a thumb typed, and written in house
// style. The same readings, the same refusals as the Python package tapehook.notation (a test compares the two).
//
// May live here: pure functions of text and numbers. May not: the document, or anything that knows of a job.

const FOOT_M = 0.3048;
export const INCH_M = 0.0254;
const LONGEST_TEXT = 200;
const LONGEST_SHOWN = 60;

/** A text that could not be read, or that could mean more than one thing. The message is one sentence. */
export class NotationError extends Error {
  constructor(text, expected, readings, reason) {
    const unique = [...new Set(readings)];
    let problem = reason;
    if (unique.length) {
      const meanings = `could mean ${either(unique)}`;
      problem = problem ? `${problem} and ${meanings}` : meanings;
    }
    super(`“${shown(text)}” ${problem || "cannot be read"}; expected ${expected}`);
    this.readings = unique;
  }
}

class Refused extends Error {
  constructor(reason = "", readings = []) {
    super(reason);
    this.reason = reason;
    this.readings = readings;
  }
}

function shown(text) {
  const signs = [...text];
  const cut = signs.length <= LONGEST_SHOWN ? signs : [...signs.slice(0, LONGEST_SHOWN - 1), "…"];
  return cut.map((sign) => (sign !== " " && /[\p{C}\p{Z}]/u.test(sign) ? escaped(sign) : sign)).join("");
}

/** A sign that cannot be printed, by its number. */
function escaped(sign) {
  if ("\t\n\r".includes(sign)) return " ";
  return `<U+${sign.codePointAt(0).toString(16).toUpperCase().padStart(4, "0")}>`;
}

function either(choices) {
  return choices.length === 1 ? choices[0] : `${choices.slice(0, -1).join(", ")} or ${choices.at(-1)}`;
}

// --- reading ------------------------------------------------------------------------------------------------

const ONE_FOR_ONE = {
  "'": "‘’‚‛′`´ʹʼˈ＇",
  '"': "“”‟″ʺ＂",
  "-": "‐‑‒–—−﹣－",
  "/": "⁄∕／",
  "°": "º˚",
  f: "ƒ",
  "μ": "µ",
  "": "\u200b\u200e\u200f\u2060\ufeff",
};
const GLYPH_FRACTIONS = {
  "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4",
  "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5", "⅙": "1/6", "⅚": "5/6",
  "⅐": "1/7", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8", "⅑": "1/9", "⅒": "1/10",
};
const PLAIN = new Map();
for (const [sign, others] of Object.entries(ONE_FOR_ONE)) for (const other of others) PLAIN.set(other, sign);
for (const [glyph, fraction] of Object.entries(GLYPH_FRACTIONS)) PLAIN.set(glyph, ` ${fraction} `);

const TOKEN =
  /(?<fraction>[0-9]+ ?\/ ?[0-9]+(?![0-9.,]))|(?<number>(?:[0-9]|[.,](?=[0-9]))[0-9.,]*(?:(?<=[0-9])e[+-]?[0-9]+)?)|(?<word>[a-zμ]+\.?|['"°%∞])|(?<other>[^\s])/gu;
const GROUPED = /^[1-9][0-9]{0,2}(?:(?:,[0-9]{3})+(?:\.[0-9]+)?|(?:\.[0-9]{3})+(?:,[0-9]+)?)$/;

/** The text in lower case, single spaces, plain marks. */
function plain(text) {
  const marks = [...text].map((sign) => PLAIN.get(sign) ?? sign).join("");
  return marks.toLowerCase().replaceAll("''", '"').split(/\s+/u).filter(Boolean).join(" ");
}

function tokens(cleaned) {
  return [...cleaned.matchAll(TOKEN)].map((match) => {
    const [kind] = Object.entries(match.groups).find(([, raw]) => raw !== undefined);
    return { kind, raw: match[0], start: match.index, end: match.index + match[0].length };
  });
}

function read(text, expected, reader) {
  try {
    return reader(checked(text));
  } catch (refusal) {
    if (!(refusal instanceof Refused)) throw refusal;
    // Readings are put together from pieces; only those that would be accepted help anybody.
    const clear = refusal.readings.filter((reading) => isRead(reading, reader));
    throw new NotationError(text, expected, clear, refusal.reason);
  }
}

/** The cleaned text. Refuses one that is too long, before any work, and an empty one. */
function checked(text) {
  const count = [...text].length;
  if (count > LONGEST_TEXT) throw new Refused(`has ${count} characters, too many`);
  const cleaned = plain(text);
  if (!cleaned) throw new Refused("is empty");
  return cleaned;
}

function isRead(text, reader) {
  try {
    reader(checked(text));
    return true;
  } catch (refusal) {
    if (!(refusal instanceof Refused)) throw refusal;
    return false;
  }
}

function spliced(cleaned, token, replacements) {
  return replacements.map((text) => cleaned.slice(0, token.start) + text + cleaned.slice(token.end));
}

/** Value of a number token. Refuses a thousands mark that could be a decimal mark. */
function numberValue(cleaned, token) {
  const [mantissa, exponent = "0"] = token.raw.split("e");
  if (Math.abs(Number(exponent)) > 400) throw new Refused("has an exponent out of range");
  return Number(`${plainDigits(cleaned, token, mantissa)}e${exponent}`);
}

/** The digits with a point for the decimal mark and no mark for thousands. */
function plainDigits(cleaned, token, mantissa) {
  const marks = mantissa.match(/[.,]/g) ?? [];
  if (!marks.length) return mantissa;
  if (marks.length > 1) {
    if (!GROUPED.test(mantissa)) throw new Refused();
    return mantissa.replaceAll(marks[0], "").replace(",", ".");
  }
  const [whole, decimal] = mantissa.split(marks[0]);
  if (!decimal) throw new Refused("ends in a decimal mark");
  if (marks[0] === "," && decimal.length === 3 && /[1-9]/.test(whole)) {
    throw new Refused("", spliced(cleaned, token, [`${whole}.${decimal}`, whole + decimal]));
  }
  return `${whole}.${decimal}`;
}

/** Value of a fraction token, between 0 and 1. Refuses 61/2, which may be 6 1/2 run together. */
function fractionValue(cleaned, token) {
  const [above, below] = aboveAndBelow(token);
  if (above === 0 || below === 0) throw new Refused("has a fraction with a nought in it");
  if (above < below) return above / below;
  const whole = Math.floor(above / 10);
  const rest = above % 10;
  const readings = whole && rest > 0 && rest < below ? [`${whole} ${rest}/${below}`] : [];
  throw new Refused("has a fraction that is not less than one", spliced(cleaned, token, readings));
}

/** Numerator and denominator of what ends in a fraction: 1 and 2 for "1/2" and for "6 1/2". */
function aboveAndBelow(token) {
  const [above, below] = token.raw.split("/");
  return [Number(above.trim().split(/[ -]/).at(-1)), Number(below)];
}

/** Number and fraction tokens read, "6 1/2" and "6-1/2" joined to one; the other tokens as they are. */
function quantities(cleaned) {
  const found = [];
  for (const token of tokens(cleaned)) {
    if (token.kind === "number") {
      // A grouped number counts as decimal: "1,234" beside inches or a fraction is no plain number.
      const kind = /^[0-9]+$/.test(token.raw) ? "whole" : "decimal";
      found.push({ ...token, quantity: kind, value: numberValue(cleaned, token) });
    } else if (token.kind === "fraction") addFraction(cleaned, found, token);
    else found.push(token);
  }
  return found;
}

/** Joins a fraction to the whole number before it, or adds it as a quantity of its own. */
function addFraction(cleaned, found, token) {
  const fraction = { ...token, quantity: "fraction", value: fractionValue(cleaned, token) };
  // In 6-1/2 the dash joins, as in 6 1/2; in "6 - 1/2" it does not.
  const joinedByDash = found.length > 1 && cleaned[token.start - 1] === "-" && cleaned[token.start - 2] !== " ";
  const place = found.length - (joinedByDash ? 2 : 1);
  const whole = found[place];
  if (whole?.quantity !== "whole") {
    found.push(fraction);
    return;
  }
  const raw = cleaned.slice(whole.start, token.end);
  found.splice(place, found.length, { ...whole, raw, end: token.end, quantity: "mixed", value: whole.value + fraction.value });
}

const SPELLINGS = {
  m: "m metre metres meter meters",
  c: "cm centimetre centimetres centimeter centimeters",
  k: "mm millimetre millimetres millimeter millimeters",
  u: "um μm micron microns micrometre micrometres micrometer micrometers",
  f: "' ft foot feet",
  i: '" in inch inches',
  t: "thou",
};
const UNIT_M = { m: 1, c: 0.01, k: 0.001, u: 1e-6, f: FOOT_M, i: INCH_M, t: INCH_M / 1000 };
const LETTER = new Map();
for (const [letter, words] of Object.entries(SPELLINGS)) for (const word of words.split(" ")) LETTER.set(word, letter);
const TAPE_DENOMINATORS = new Set([2, 3, 4, 8, 16, 32, 64]);
const INFINITY_WORDS = new Set(["inf", "inf.", "infinity", "infinite", "∞"]);
const DISTANCE_EXPECTED = "a distance with its unit, such as 1.68 m, 5'6\" or inf";

/**
 * A distance of more than zero in metres, Infinity for "inf". bareUnit ("m", "ft" or null) is the unit of a number
 * without one. Throws NotationError for what cannot be read, and for what has more than one reading.
 */
export function parseDistance(text, bareUnit) {
  return read(text, DISTANCE_EXPECTED, (cleaned) => {
    if (INFINITY_WORDS.has(cleaned)) return Infinity;
    const items = quantities(cleaned);
    if (items[0].raw === "-") throw new Refused("is not more than zero");
    const metres = lengthM(cleaned, items, bareUnit);
    if (!(metres > 0)) throw new Refused("is not more than zero");
    if (metres === Infinity) throw new Refused("is too large");
    return metres;
  });
}

function lengthM(cleaned, items, bareUnit) {
  const found = items.filter((item) => item.quantity);
  const shape = items.map((item) => (item.quantity ? "q" : letterOf(item))).join("");
  refuseOddFractions(found);
  const [first, second, third] = found;
  if (shape === "q") return bareM(first, bareUnit);
  if (/^q[fimckut]$/.test(shape)) return first.value * UNIT_M[shape[1]];
  if (shape === "qiq" && isTrailing(first, second)) return (first.value + second.value) * INCH_M;
  if (/^q(f|f-|f,)qi$/.test(shape) || shape === "qfq") {
    return feetAndInchesM(cleaned, first, second, shape.endsWith("i"));
  }
  if (shape === "qfqiq" && isTrailing(second, third)) {
    const inches = { ...second, quantity: "mixed", value: second.value + third.value };
    return feetAndInchesM(cleaned, first, inches, true);
  }
  if (shape === "qmqc") return metresAndCentimetresM(first, second);
  throw new Refused("", whatItCouldMean(shape, found));
}

function letterOf(token) {
  if (["-", ",", ":", "/"].includes(token.raw)) return token.raw;
  return LETTER.get(token.raw.replace(/\.$/, "")) ?? "?";
}

/** A quantity without a unit. Refused when its digits may stand for feet and inches: 6.6, 3/4. */
function bareM(quantity, bareUnit) {
  if (!bareUnit) throw new Refused("has no unit", bareReadings(quantity));
  if (bareUnit === "ft" && quantity.quantity === "decimal" && !Number.isInteger(quantity.value)) {
    throw new Refused("has decimals and no unit", [`${quantity.raw} ft`, ...pointForFeet(quantity)]);
  }
  if (quantity.quantity === "fraction") {
    throw new Refused("has no unit", [`${quantity.raw} ${bareUnit}`, ...slashForFeet(quantity)]);
  }
  return quantity.value * (bareUnit === "ft" ? FOOT_M : 1);
}

function bareReadings(quantity) {
  if (quantity.quantity === "fraction") return [`${quantity.raw} in`, ...slashForFeet(quantity)];
  const units = quantity.value < 60 ? ["m", "ft"] : ["m", "ft", "cm", "in"];
  return [...units.map((unit) => `${quantity.raw} ${unit}`), ...pointForFeet(quantity)];
}

function pointForFeet(quantity) {
  const [whole, inches = ""] = quantity.raw.replace(",", ".").split(".");
  const isInches = inches === "10" || inches === "11" || /^[1-9]$/.test(inches);
  return whole && isInches ? [`${whole}'${inches}"`] : [];
}

function slashForFeet(quantity) {
  const [feet, inches] = aboveAndBelow(quantity);
  return inches < 12 ? [`${feet}'${inches}"`] : [];
}

function feetAndInchesM(cleaned, feet, inches, inchMark) {
  if (feet.quantity !== "whole") throw new Refused("has feet that are not whole, and inches beside them");
  if (inches.quantity === "fraction") refuseUnclearFraction(cleaned, feet, inches, inchMark);
  if (inches.value >= 12) {
    throw new Refused("has twelve inches or more beside the feet", tooManyInches(cleaned, feet, inches));
  }
  return feet.value * FOOT_M + inches.value * INCH_M;
}

/** Refuses 5' 1/2, half an inch or half a foot, and 5'11/16", which may be 5'1 1/16". */
function refuseUnclearFraction(cleaned, feet, inches, inchMark) {
  const noInches = `${feet.raw}'0 ${inches.raw}"`;
  if (!inchMark) throw new Refused("has a fraction without a unit", [noInches, `${feet.raw} ${inches.raw} ft`]);
  const [above, below] = aboveAndBelow(inches);
  if (above > 10 && above % 10 && cleaned[inches.start - 1] !== " ") {
    throw new Refused("", [noInches, `${feet.raw}'${Math.floor(above / 10)} ${above % 10}/${below}"`]);
  }
}

function tooManyInches(cleaned, feet, inches) {
  if (inches.quantity !== "whole" || inches.value >= 120) return [];
  const carried = `${feet.value + Math.floor(inches.value / 12)}'${inches.value % 12}"`;
  return [carried, ...spliced(cleaned, inches, [`${Math.floor(inches.value / 10)}.${inches.value % 10}`])];
}

function metresAndCentimetresM(metres, centimetres) {
  if (metres.quantity !== "whole" || centimetres.value >= 100) {
    throw new Refused("has metres and centimetres that do not go together");
  }
  return metres.value + centimetres.value / 100;
}

function isTrailing(inches, fraction) {
  return inches.quantity === "whole" && fraction.quantity === "fraction";
}

/** Refuses 5/6 of something: no tape shows it, and it may stand for 5'6". */
function refuseOddFractions(found) {
  for (const quantity of found) {
    const isFraction = quantity.quantity === "fraction" || quantity.quantity === "mixed";
    if (!isFraction || TAPE_DENOMINATORS.has(aboveAndBelow(quantity)[1])) continue;
    const alone = quantity.quantity === "fraction" && found.length === 1;
    throw new Refused("has a fraction no tape shows", alone ? slashForFeet(quantity) : []);
  }
}

const FEET_AND_INCHES = "{0}'{1}\"";
const FEET_AND_INCHES_SHAPES = ["qqi", "q-qi", "q:qi", "q/qi", "q,qi", "qf:qi", "qfqf"];
const READINGS = new Map([
  ...["qq", "q-q", "q:q", "q/q", "q,q"].map((shape) => [shape, [FEET_AND_INCHES, "{0}.{1} m", "{0}.{1} ft"]]),
  ...FEET_AND_INCHES_SHAPES.map((shape) => [shape, [FEET_AND_INCHES]]),
  ["qf-q", [FEET_AND_INCHES, "{0} ft", "{1} ft"]],
  ...["q-qf", "qf-qf"].map((shape) => [shape, ["{0} ft", "{1} ft"]]),
  ...["q-qm", "qm-qm"].map((shape) => [shape, ["{0} m", "{1} m"]]),
  ["qqf", ["{0}.{1} ft", "{0} ft", "{1} ft"]],
  ["qqm", ["{0}.{1} m", "{0}{1} m", "{0} m", "{1} m"]],
  ["qmq", ["{0}.{1} m"]],
]);

/** The readings of a shape that is not read, best first; empty when there is none worth offering. */
function whatItCouldMean(shape, found) {
  const [first, second] = found;
  if (found.length !== 2 || first.quantity !== "whole" || second.quantity === "fraction") return [];
  return (READINGS.get(shape) ?? [])
    .filter((reading) => second.value < 12 || reading !== FEET_AND_INCHES)
    .filter((reading) => second.quantity === "whole" || !reading.includes("{0}.{1}"))
    .filter((reading) => second.raw.length === 3 || !reading.includes("{0}{1}"))
    .map((reading) => reading.replace("{0}", first.raw).replace("{1}", second.raw));
}

const STOP_EXPECTED = "a T-stop between 0.5 and 128, such as T2.8 or T2.8 1/3";
const FULL_LABELS = [0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32, 45, 64, 90, 128];

/** A T-number: "T2.8", "2.8", "2,8", "2.8 1/3", "2.8⅓". An f-number is refused: the page works from the T-stop. */
export function parseTStop(text) {
  return read(text, STOP_EXPECTED, (cleaned) => {
    const pieces = tokens(cleaned);
    if (pieces[0].raw === "f") throw new Refused("is an f-number");
    if (pieces[0].raw === "t") pieces.shift();
    if (pieces[0]?.kind !== "number") throw new Refused();
    const number = numberValue(cleaned, pieces[0]);
    const rest = pieces.slice(1);
    if (rest.length === 2 && rest[0].raw === "+") rest.shift();
    if (rest.length > 1 || (rest.length && rest[0].kind !== "fraction")) throw new Refused();
    const t = rest.length ? stopAfter(number, fractionValue(cleaned, rest[0])) : number;
    if (!(t >= 0.5 && t <= 128)) throw new Refused("is out of range");
    return t;
  });
}

function stopAfter(number, added) {
  const step = FULL_LABELS.indexOf(number);
  if (step < 0) throw new Refused("has a fraction after a number that is no whole stop");
  const usual = [1 / 3, 2 / 3, 1 / 2, 1 / 4, 3 / 4].includes(added) || Number.isInteger(Math.round(added * 1e9) / 1e8);
  if (!usual) throw new Refused("has a fraction no iris scale shows");
  return 2 ** ((step - 2) / 2) * 2 ** (added / 2);
}

// --- writing ------------------------------------------------------------------------------------------------

const INCH_STEPS = [
  [6 * 12, 4],
  [20 * 12, 2],
  [50 * 12, 1],
];
export const EIGHTHS = ["", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"];
const SHALLOW_M = 2 * INCH_M;


/** A distance as people read it, house style of the handover: "1.68 m", 5'6½", "∞". */
export function formatDistance(distanceM, system) {
  if (distanceM === Infinity) return "∞";
  return system === "metric" ? metric(distanceM) : imperial(distanceM);
}

/** The step house style shows a distance to, metres; just below a change of step, the coarser one beyond it. */
export function shownStepM(distanceM, system) {
  if (system === "metric") return distanceM < 9.99 ? 0.01 : distanceM < 99.9 ? 0.1 : 1;
  const inches = distanceM / INCH_M;
  const [, parts] = INCH_STEPS.find(([limit]) => inches < limit - 0.5) ?? [0, 1 / 12];
  return INCH_M / parts;
}

function metric(distanceM) {
  if (distanceM < 0.1) return `${significant(distanceM * 1000, 3)} mm`;
  return `${decimals(distanceM, distanceM < 10 ? 2 : distanceM < 100 ? 1 : 0)} m`;
}

function imperial(distanceM) {
  const inches = distanceM / INCH_M;
  if (inches < 1) return `${significant(inches, 3)}"`;
  for (const [limit, steps] of INCH_STEPS) {
    if (inches < limit) return feetAndInches(Math.floor(inches * steps + 0.5), steps);
  }
  return `${decimals(distanceM / FOOT_M, 0)}'`;
}

/** 5'6½" from so many parts of an inch; feet or inches that are zero are left out, but 5'0½" keeps its zero. */
function feetAndInches(count, partsOfInch) {
  const feet = Math.floor(count / (12 * partsOfInch));
  const inches = Math.floor(count / partsOfInch) % 12;
  const fraction = EIGHTHS[(count % partsOfInch) * (8 / partsOfInch)];
  const small = `${inches || (feet && fraction ? "0" : "")}${fraction}`;
  return (feet ? `${feet}'` : "") + (small ? `${small}"` : "");
}

/**
 * Near and far in house style, or to the millimetre or eighth of an inch when a depth under two inches would be
 * rounded away.
 */
export function formatLimits(nearM, farM, system) {
  return [nearM, farM].map((distanceM) => {
    if (!(farM - nearM < SHALLOW_M && farM < 10)) return formatDistance(distanceM, system);
    if (system === "metric") return `${distanceM.toFixed(3)} m`;
    return feetAndInches(Math.floor((distanceM / INCH_M) * 8 + 0.5), 8);
  });
}

/** The length of an interval, such as the depth from near to far: like a distance, fine when small. */
export function formatSpan(spanM, system) {
  if (spanM === Infinity) return "∞";
  if (system === "metric") return spanM < 1 ? `${significant(spanM * 100, 2)} cm` : `${significant(spanM, 3)} m`;
  const inches = spanM / INCH_M;
  if (inches < 1 / 8) return `${significant(inches, 2)}"`;
  return inches < 2 ? feetAndInches(Math.floor(inches * 8 + 0.5), 8) : imperial(spanM);
}

/** The value with at most so many decimals, trailing zeros left out, and never "-0". */
export function decimals(value, count) {
  const text = value.toFixed(Math.max(count, 0));
  const short = text.includes(".") ? text.replace(/\.?0+$/, "") : text;
  return short === "-0" ? "0" : short;
}

/** The value with so many significant digits, trailing zeros left out, no exponent. */
export function significant(value, digits) {
  if (value === 0 || !Number.isFinite(value)) return String(value);
  return decimals(value, digits - 1 - Math.floor(Math.log10(Math.abs(value))));
}

const SUFFIX = { deg: "°", count: "", percent: " %", mm: " mm" };
const DECIMALS = { deg: 1, count: 0, percent: 1, mm: 1 };

/** A position in house style, rounded to the step of the read-out when that is known. */
export function formatPosition(value, unit, step) {
  const known = typeof step === "number" && step > 0;
  const count = known ? decimalsOf(step) : DECIMALS[unit];
  const rounded = known ? Math.round(value / step) * step : value;
  const text = rounded.toFixed(count);
  return (Number(text) === 0 ? text.replace("-", "") : text) + SUFFIX[unit];
}

/** The +- of a position: two significant digits, with the unit. */
export function formatPlusMinus(value, unit) {
  return significant(value, value >= 100 ? 3 : 2) + SUFFIX[unit];
}

function decimalsOf(step) {
  return step.toFixed(6).replace(/\.?0+$/, "").split(".")[1]?.length ?? 0;
}
