// The photo that was chosen is shown beside the fields, so that one types from it before it is sent.

const file = document.querySelector("[data-display-file]");
const shown = document.querySelector("[data-display-shown]");
const wrong = document.querySelector("[data-display-wrong]");

function show() {
  const image = shown.querySelector("img");
  if (image.src) URL.revokeObjectURL(image.src);
  image.removeAttribute("src");
  shown.hidden = true;
  wrong.hidden = true;
  if (!file.files.length) return;
  image.src = URL.createObjectURL(file.files[0]);
  shown.hidden = false;
}

if (file) {
  const image = shown.querySelector("img");
  image.addEventListener("error", () => {
    shown.hidden = true;
    wrong.hidden = !image.hasAttribute("src");
  });
  file.addEventListener("change", show);
  show(); // a browser that comes back keeps the file
}
