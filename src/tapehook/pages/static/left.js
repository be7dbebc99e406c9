// Minutes left: the list follows the minutes as they are typed, and whatever is measured anywhere.

import { follower } from "./follow.js";
import { at } from "./live.js";

const form = at("left");
const { now, soon } = follower(form, "tests", { keepsAddress: true });

/** What is fetched when somebody measured keeps to the minutes typed here. */
function renewWith() {
  const minutes = at("minutes").value.trim();
  const query = minutes ? `?minutes=${encodeURIComponent(minutes)}` : "";
  document.body.dataset.parts = `${form.dataset.partUrl}${query}`;
}

form.addEventListener("input", () => {
  renewWith();
  soon();
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  now();
});
