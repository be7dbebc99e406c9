// Makes the files of the handover and lists them.

const make = document.getElementById("make");
const making = document.getElementById("making");

make.addEventListener("click", async () => {
  make.disabled = true;
  making.textContent = "making …";
  try {
    const answer = await fetch(make.dataset.url);
    const { files } = await answer.json();
    const items = files.map(({ name, bytes }) => {
      const item = document.createElement("li");
      const link = document.createElement("a");
      link.href = make.dataset.base + name;
      link.download = name;
      link.textContent = name;
      const size = document.createElement("span");
      size.className = "quiet";
      size.textContent = ` ${(bytes / 1024).toFixed(0)} kB`;
      item.append(link, size);
      return item;
    });
    document.getElementById("files").replaceChildren(...items);
    making.textContent = `${files.length} files`;
  } catch {
    making.textContent = "The laptop does not answer.";
  }
  make.disabled = false;
});
