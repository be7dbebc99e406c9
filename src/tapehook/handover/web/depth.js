// Depth of field and look-up in a lens map, in the browser.
//
// May live here: pure functions of numbers, SI units (metres, dioptres), the same formulas in the same order of
// operations as the Python package tapehook.optics, so that page and command line print the same digits. May not:
// the document, text for people, or anything that knows of a job.
//
// Sources stand beside the Python functions of the same name; symbols: f focal length, e entrance pupil to image
// plane at infinity focus, P pupil magnification, m magnification, u object to entrance pupil.

/** Share of light a cine lens passes when nobody has measured it. */
export const ASSUMED_TRANSMISSION = 0.85;

const WIDE_FOCAL_M = 0.045;
const RETROFOCUS_REACH_M = 0.13;

/** f-number N = T sqrt(transmission): depth follows N, exposure follows T. */
export function fNumberFromT(tNumber, transmission) {
  return tNumber * Math.sqrt(transmission);
}

/** Pupil of a thin lens: in the lens itself, neither enlarged nor reduced. */
export function thinPupil(focalM) {
  return { toSensorM: focalM, magnification: 1.0 };
}

/**
 * Solve a unit-focusing lens for an object at distanceM from the image plane (Infinity allowed).
 * All NaN where the distance is nearer than the lens can focus at all.
 */
export function focusState(distanceM, focalM, pupil) {
  const e = pupil.toSensorM;
  const p = pupil.magnification;
  const s = distanceM - e - focalM / p;
  let v = 0.5 * (s + Math.sqrt((s - 2.0 * focalM) * (s + 2.0 * focalM)));
  if (!(s >= 2.0 * focalM)) v = NaN;
  const m = focalM / v;
  return {
    magnification: m,
    extensionM: focalM * m,
    pupilDistanceM: v + focalM / p,
    pupilToSensorM: e + focalM * m,
    pupilFactor: 1.0 + m / p,
  };
}

/** Nearest object distance from the image plane at which any focus exists: life size. */
export function nearestPossibleM(focalM, pupil) {
  return pupil.toSensorM + focalM / pupil.magnification + 2.0 * focalM;
}

/** Blur left for defocus, sqrt(c^2 - b0^2); 0 where the floor at best focus already reaches c. */
export function sharpBlurM(cocM, blurFloorM) {
  return Math.sqrt(Math.max((cocM - blurFloorM) * (cocM + blurFloorM), 0.0));
}

/** Half-width of the depth of field in dioptres, w = N c / (f^2 (1 + m/P)). */
export function halfWidthDpt(fNumber, focalM, blurM, pupilFactor) {
  return (fNumber * blurM) / (focalM * focalM * pupilFactor);
}

/** Near and far limit (metres from the image plane, far may be Infinity) and what they come from. */
export function depthOfField(distanceM, focalM, fNumber, blurM, pupil) {
  const state = focusState(distanceM, focalM, pupil);
  const w = halfWidthDpt(fNumber, focalM, blurM, state.pupilFactor);
  const q = 1.0 / state.pupilDistanceM;
  const near = 1.0 / (q + w) + state.pupilToSensorM;
  const far = q > w ? 1.0 / (q - w) + state.pupilToSensorM : Infinity;
  return {
    nearM: near,
    farM: Number.isNaN(q) ? NaN : far,
    halfWidthDpt: w,
    vergenceDpt: q,
    workingFNumber: fNumber * state.pupilFactor,
    state,
  };
}

/** Nearest focus whose far limit is infinity, metres from the image plane. */
export function hyperfocalM(focalM, fNumber, blurM, pupil) {
  const kappa = (fNumber * blurM) / (focalM * focalM);
  const fromPupil = 1.0 / kappa + focalM / pupil.magnification;
  return fromPupil + pupil.toSensorM + focalM * focalM * kappa;
}

/**
 * Uncertainty of the width of the depth of field, as a fraction of it. tOverN is T/N as assumed when the
 * transmission is not known, else 1.
 */
export function depthUncertainty(distanceM, focalM, pupilKnown, tOverN) {
  const light = tOverN - 1.0;
  if (pupilKnown) return light;
  const ratio = distanceM / focalM;
  const steps = ratio > 60.0 ? 0.05 : ratio >= 15.0 ? 0.1 : 0.2;
  if (!(focalM < WIDE_FOCAL_M)) return steps + light;
  const farForward = focusState(distanceM, focalM, thinPupil(focalM)).pupilDistanceM - RETROFOCUS_REACH_M;
  const grown = 1.0 + RETROFOCUS_REACH_M / farForward;
  const reach = farForward > 0 ? grown * grown - 1.0 : Infinity;
  return Math.max(steps, reach) + light;
}

/**
 * Everything about the depth of one setting. optics: focalM; pupil {toSensorM, magnification} or null for the thin
 * lens; transmission or null when not known; cocM; blurFloorM. fNumber, when given, goes before T and transmission.
 * Distances from the image plane; farM and hyperfocalM may be Infinity; all NaN nearer than life size.
 */
export function depth(optics, tNumber, distanceM, fNumber = null) {
  const known = optics.transmission !== null;
  const transmission = known ? optics.transmission : ASSUMED_TRANSMISSION;
  const n = fNumber === null ? fNumberFromT(tNumber, transmission) : fNumber;
  const pupil = optics.pupil ?? thinPupil(optics.focalM);
  const blur = sharpBlurM(optics.cocM, optics.blurFloorM);
  const tOverN = known || fNumber !== null ? 1.0 : 1.0 / Math.sqrt(transmission);
  return {
    ...depthOfField(distanceM, optics.focalM, n, blur, pupil),
    fNumber: n,
    hyperfocalM: hyperfocalM(optics.focalM, n, blur, pupil),
    uncertainty: (optics.spread ?? 0) + depthUncertainty(distanceM, optics.focalM, optics.pupil !== null, tOverN),
  };
}

/**
 * What moves the ring at a T-number: um and plusMinusUm (of the sensor), glassUm of it, words; null where nothing does.
 * map.moves.stops hold for whole and third stops; the nearest is taken.
 */
export function moveAt(map, tNumber) {
  if (!map?.moves) return null;
  const off = (one) => Math.abs(Math.log(one.t / tNumber));
  return map.moves.stops.reduce((best, one) => (off(one) < off(best) ? one : best));
}

/**
 * Position of the ring at a distance, and half-width of its 95 % band, from a map's grid; null outside the map. With a
 * T-number it is where the ring has to stand at that stop, by map.moves where the map has them; behind an extender of
 * that factor glass behind the lens moves it 1/factor squared as far.
 *
 * map: datumM; farM, nearM (ends, far may be Infinity); positions and plusMinus, at places even in 1/(D - datum)
 * from far to near. Between grid points both follow the cubic through the four nearest. On a grid of 241 points it
 * stays within a hundredth of the band, the band within a twentieth of itself (a test measures both).
 */
export function ringPosition(map, distanceM, tNumber = null, factor = 1) {
  const far = placeOf(map, map.farM);
  const part = (placeOf(map, distanceM) - far) / (placeOf(map, map.nearM) - far);
  if (!(part >= -1e-9 && part <= 1 + 1e-9)) return null;
  const found = { position: along(map.positions, part), plusMinus: along(map.plusMinus, part) };
  const move = tNumber === null ? null : moveAt(map, tNumber);
  if (!move) return found;
  const perUm = along(map.moves.perUm, part);
  const um = move.um - (move.glassUm ?? 0) * (1 - 1 / factor ** 2);
  return { position: found.position + perUm * um, plusMinus: Math.hypot(found.plusMinus, perUm * move.plusMinusUm) };
}

/** Value at a part of the way, 0 to 1, by the cubic through the four nearest. */
function along(values, part) {
  const last = values.length - 1;
  const at = Math.min(Math.max(part, 0), 1) * last;
  const cell = Math.min(Math.floor(at), last - 1);
  const start = Math.min(Math.max(cell - 1, 0), last - 3);
  return cubic(values, start, at - start);
}

function placeOf(map, distanceM) {
  return 1.0 / (distanceM - map.datumM);
}

/** Value at x (0 to 3) of the cubic through four values at 0, 1, 2, 3 (Lagrange). */
function cubic(values, start, x) {
  const a = x - 1;
  const b = x - 2;
  const c = x - 3;
  return (
    (values[start] * a * b * c) / -6 +
    (values[start + 1] * x * b * c) / 2 +
    (values[start + 2] * x * a * c) / -2 +
    (values[start + 3] * x * a * b) / 6
  );
}
