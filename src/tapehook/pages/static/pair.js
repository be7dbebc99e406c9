// Lets this device in. The code may stand behind # in the address of the QR picture: no server is ever sent that.

const form = document.getElementById("pair");
const said = form.querySelector(".said");
const code = decodeURIComponent(location.hash.slice(1)).replace(/[^0-9]/g, "").slice(0, 12);
if (code) {
  form.elements.code.value = code;
  history.replaceState(null, "", "/pair");
  form.elements.who.focus();
} else form.elements.code.focus();

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  said.textContent = "asking …";
  const body = JSON.stringify({ code: form.elements.code.value, who: form.elements.who.value });
  try {
    const answer = await fetch("/api/pair", { method: "POST", headers: { "content-type": "application/json" }, body });
    if (answer.ok) {
      location.assign("/");
      return;
    }
    said.textContent = (await answer.json()).problems[0].sentence;
  } catch {
    said.textContent = "The laptop does not answer. Is this device on the set's network?";
  }
});
