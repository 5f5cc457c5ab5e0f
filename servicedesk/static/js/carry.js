// Stops of a proposed week are carried with a finger or the mouse to another day, person or place in the order. Letting go sends the same
// form that the page has for it without this; Escape puts the stop back.
const FAR_PX = 6;
const EDGE_PX = 72;
const STEP_PX = 14;

const form = document.querySelector("[data-carry]");
let held = null;

function clear() {
  for (const name of ["under", "before", "after"]) {
    document.querySelectorAll(`[data-${name}]`).forEach((part) => part.removeAttribute(`data-${name}`));
  }
}

// Where the pointer is: the day below it, and before which of its stops.
function under(x, y) {
  const part = document.elementFromPoint(x, y);
  const round = part && part.closest("[data-round]");
  if (!round) return null;
  const stop = part.closest("[data-stop]");
  if (!stop || stop === held.row || !round.contains(stop)) return { round, stop: null, order: "" };
  const box = stop.getBoundingClientRect();
  const after = y > box.top + box.height / 2;
  const stops = [...round.querySelectorAll("[data-stop]")].filter((row) => row !== held.row);
  return { round, stop, after, order: stops.indexOf(stop) + 1 + (after ? 1 : 0) };
}

function show(place) {
  clear();
  if (!place) return;
  place.round.dataset.under = "";
  if (place.stop) place.stop.dataset[place.after ? "after" : "before"] = "";
}

function begin() {
  held.carried = true;
  held.row.dataset.carried = "";
  document.body.dataset.carrying = "";
  held.flag = document.createElement("div");
  held.flag.className = "carry__flag";
  held.flag.textContent = held.row.dataset.name;
  document.body.append(held.flag);
  held.timer = setInterval(roll, 30);
}

// Near the upper or lower edge the page rolls on.
function roll() {
  const step = held.y < EDGE_PX ? -STEP_PX : held.y > innerHeight - EDGE_PX ? STEP_PX : 0;
  if (!step) return;
  scrollBy({ top: step, behavior: "instant" });
  show(under(held.x, held.y));
}

function end() {
  if (!held) return;
  clearInterval(held.timer);
  held.flag?.remove();
  held.row.removeAttribute("data-carried");
  document.body.removeAttribute("data-carrying");
  clear();
  held = null;
}

function move(event) {
  if (!held || event.pointerId !== held.pointer) return;
  [held.x, held.y] = [event.clientX, event.clientY];
  if (!held.carried && Math.hypot(held.x - held.x0, held.y - held.y0) < FAR_PX) return;
  if (!held.carried) begin();
  held.flag.style.translate = `${Math.min(held.x + 12, innerWidth - 180)}px ${held.y + 12}px`;
  show(under(held.x, held.y));
}

function drop(event) {
  if (!held || event.pointerId !== held.pointer) return;
  const place = held.carried ? under(event.clientX, event.clientY) : null;
  const visit = held.row.dataset.stop;
  const same = place && !place.stop && place.round.contains(held.row);
  end();
  if (!place || same) return;
  form.elements.visit.value = visit;
  form.elements.technician.value = place.round.dataset.technician;
  form.elements.day.value = place.round.dataset.round;
  form.elements.order.value = place.order;
  form.requestSubmit();
}

function grip(row) {
  const handle = document.createElement("div");
  handle.className = "carried__grip";
  handle.setAttribute("aria-hidden", "true"); // by keyboard there are the buttons
  handle.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button !== 0) return;
    event.preventDefault();
    handle.setPointerCapture(event.pointerId);
    held = { row, pointer: event.pointerId, x: event.clientX, y: event.clientY, x0: event.clientX, y0: event.clientY };
  });
  handle.addEventListener("pointermove", move);
  handle.addEventListener("pointerup", drop);
  handle.addEventListener("pointercancel", end);
  row.prepend(handle);
}

if (form) {
  document.querySelectorAll("[data-stop]").forEach(grip);
  addEventListener("keydown", (event) => event.key === "Escape" && end());
  document.documentElement.dataset.carry = "ready";
}
document.getElementById(location.hash.slice(1))?.focus({ preventScroll: true });
