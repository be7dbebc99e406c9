// The Strips page: strips follow the fields, and are shown in proportion or as large as they will be on the ring.
//
// How many dots of this screen make a millimetre nobody tells a browser. A bank card does: ISO/IEC 7810 makes every one
// 85.60 by 53.98 mm. What was found is kept on this device, for this screen; zooming the page is reckoned with.

import { follower } from "./follow.js";
import { at } from "./live.js";

const CARD_MM = { long: 85.6, short: 53.98 };
const KEPT = "tapehook-dots-per-mm";

const form = at("fields");
const place = at("strips");
const narrow = matchMedia("(max-width: 600px)");

// --- following the fields --------------------------------------------------------------------------------------

const { now, soon } = follower(form, "strips", { shown: showSize, keepsAddress: true });

form.addEventListener("input", (event) => {
  if (event.target.name) soon();
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  now();
});

at("filter")?.addEventListener("input", (event) => {
  const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
  for (const label of form.querySelectorAll(".lens-list label")) {
    const text = label.textContent.toLowerCase();
    label.hidden = !words.every((word) => text.includes(word));
  }
});

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-print]")) window.print();
});

// --- true size -------------------------------------------------------------------------------------------------

/** The screen by its dots: a window moved to another one has to be set again. */
function screenName() {
  const dots = (length) => Math.round(length * devicePixelRatio);
  return `${dots(screen.width)}x${dots(screen.height)}`;
}

/** Pixels of the page to the millimetre; null where this screen was not set. */
function pixelsPerMm() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT) ?? "{}")[screenName()];
    return kept > 0 ? kept / devicePixelRatio : null;
  } catch {
    return null;
  }
}

function keep(pixels) {
  try {
    const all = JSON.parse(localStorage.getItem(KEPT) ?? "{}");
    localStorage.setItem(KEPT, JSON.stringify({ ...all, [screenName()]: pixels * devicePixelRatio }));
    return true;
  } catch {
    return false;
  }
}

const wantsTrue = () => document.querySelector("[name=size]:checked").value === "true";

function sizeWords(pixels) {
  if (!wantsTrue()) return "";
  if (pixels === null) return "This screen is not set yet: hold a bank card to it, once.";
  const unsized = place.querySelector(".unsized") ? " A strip in proportion only has none." : "";
  return `True size on this screen. Cut what is printed, not what is measured here.${unsized}`;
}

/** Gives each piece its width: the room there is, or what it measures on the ring. */
function showSize() {
  const pixels = pixelsPerMm();
  const isTrue = wantsTrue() && pixels !== null;
  for (const piece of place.querySelectorAll(".strip-piece")) {
    const sized = isTrue && !piece.closest(".unsized");
    piece.style.width = sized ? `${Number(piece.dataset.mm) * pixels}px` : "";
    piece.classList.toggle("true-size", sized);
  }
  if (wantsTrue() && pixels === null) at("calibrate").open = true;
  at("size-said").textContent = sizeWords(pixels);
}

/** The outline of the card; upright on a phone, which is narrower than a card is long. */
function drawCard() {
  const pixels = Number(at("card-size").value);
  const [wide, high] = narrow.matches ? [CARD_MM.short, CARD_MM.long] : [CARD_MM.long, CARD_MM.short];
  at("card-outline").style.width = `${wide * pixels}px`;
  at("card-outline").style.height = `${high * pixels}px`;
  at("card-side").textContent = `${wide.toFixed(2)} mm wide${narrow.matches ? ", held upright" : ""}`;
}

at("card-size").addEventListener("input", drawCard);
at("card-fits").addEventListener("click", () => {
  const kept = keep(Number(at("card-size").value));
  at("calibrate").open = !kept;
  document.querySelector("[name=size][value=true]").checked = true;
  showSize();
  if (!kept) at("size-said").textContent = "This browser keeps nothing, so the size is not known here.";
});
for (const choice of document.querySelectorAll("[name=size]")) choice.addEventListener("change", showSize);
narrow.addEventListener("change", drawCard);
addEventListener("resize", showSize);

at("card-size").value = String(pixelsPerMm() ?? at("card-size").value);
drawCard();
showSize();
