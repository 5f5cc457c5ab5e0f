// Nothing typed is lost on reload: what stands in a form marked data-draft is kept on this device until it was sent.

const PREFIX = "draft";

function keyOf(form) {
  return [PREFIX, location.pathname, form.dataset.draft].join(":");
}

function fieldsOf(form) {
  return [...form.elements].filter((field) => field.name && field.type !== "hidden" && field.type !== "file" && field.type !== "submit");
}

function keep(form) {
  const values = {};
  for (const field of fieldsOf(form)) {
    values[field.name] = field.type === "checkbox" ? field.checked : field.value;
  }
  try {
    localStorage.setItem(keyOf(form), JSON.stringify(values));
  } catch {
    form.dataset.draftLost = "1"; // storage is full or switched off: the form still works
  }
}

function bring(form) {
  const kept = localStorage.getItem(keyOf(form));
  if (!kept) return;
  const values = JSON.parse(kept);
  let any = false;
  for (const field of fieldsOf(form)) {
    if (!(field.name in values)) continue;
    if (field.type === "checkbox") field.checked = values[field.name];
    else if (!field.value) field.value = values[field.name];
    any ||= Boolean(values[field.name]);
  }
  const record = form.closest("details");
  if (any && record) record.open = true;
}

for (const form of document.querySelectorAll("form[data-draft]")) {
  bring(form);
  form.addEventListener("input", () => keep(form));
  form.addEventListener("submit", () => localStorage.removeItem(keyOf(form)));
}

const photo = document.querySelector("[data-photo]");
if (photo) {
  const send = document.querySelector("[data-photo-send]");
  send.hidden = true;
  photo.addEventListener("change", () => photo.files.length && photo.form.requestSubmit());
}
