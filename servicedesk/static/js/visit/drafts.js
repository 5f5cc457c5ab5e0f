// Nothing typed is lost: what stands in a form marked data-draft is kept on this device, for this person, until the
// server has said that it took that entry. A form sent into a dead network comes back with what was typed and with the
// same entry id, so that sending it again is never two entries.

const PREFIX = `draft:${document.body.dataset.person ?? ""}:`;
const OLDEST_MS = 30 * 24 * 3600 * 1000;
const taken = new Set((document.body.dataset.taken ?? "").split(" ").filter(Boolean));

const keyOf = (form) => `${PREFIX}${location.pathname}:${form.dataset.draft}`;

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

function write(form, draft) {
  try {
    localStorage.setItem(keyOf(form), JSON.stringify({ ...draft, at: Date.now() }));
  } catch {
    form.dataset.draftLost = "1"; // storage is full or switched off: the form still works
  }
}

// Drafts whose entry has a receipt, and those forgotten for a month.
function sweep() {
  for (const key of Object.keys(localStorage)) {
    if (!key.startsWith(PREFIX)) continue;
    const draft = read(key);
    if (!draft || taken.has(draft.entry) || Date.now() - draft.at > OLDEST_MS) localStorage.removeItem(key);
  }
}

function fieldsOf(form) {
  const left = ["hidden", "file", "submit", "button"];
  return [...form.elements].filter((field) => field.name && !left.includes(field.type));
}

function valuesOf(form) {
  return Object.fromEntries(fieldsOf(form).map((field) => [field.name, field.type === "checkbox" ? field.checked : field.value]));
}

function bring(form) {
  const draft = read(keyOf(form));
  if (!draft?.values) return;
  for (const field of fieldsOf(form)) {
    if (!(field.name in draft.values)) continue;
    if (field.type === "checkbox") field.checked = draft.values[field.name];
    else field.value = draft.values[field.name];
  }
  if (draft.sent && draft.entry) form.elements.entry.value = draft.entry;
  for (let box = form.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  for (const field of fieldsOf(form)) {
    const own = field.closest("details");
    if (own && form.contains(own) && field.value) own.open = true;
  }
}

function keepDrafts(form) {
  const fresh = form.elements.entry.value;
  bring(form);
  form.addEventListener("input", () => {
    form.elements.entry.value = fresh; // other content is another entry
    write(form, { values: valuesOf(form), entry: fresh, sent: false });
  });
  form.addEventListener("submit", () => write(form, { values: valuesOf(form), entry: form.elements.entry.value, sent: true }));
}

sweep();
document.querySelectorAll("form[data-draft]").forEach(keepDrafts);

const photo = document.querySelector("[data-photo]");
if (photo) {
  const send = document.querySelector("[data-photo-send]");
  send.hidden = true; // one button: the label opens the camera, and what it takes is sent
  photo.classList.add("unseen");
  photo.labels[0].classList.add("button");
  photo.addEventListener("change", () => photo.files.length && photo.form.requestSubmit());
}
