// The bench: large keys type into the value, and each value is judged while it is typed by the tank's own program.

import { evaluate, sentence } from "../sheet/program.js";

const bench = document.querySelector("[data-bench]");
const field = bench?.querySelector("[data-value]");
const TONES = { in: "hold", low: "out", high: "out", under: "act", over: "act", again: "ask", none: "soft" };
let sheet = null;

function typed() {
  const text = field.value.trim().replace(",", ".");
  return /^[+-]?(\d+(\.\d*)?|\.\d+)$/.test(text) ? Number(text) : null;
}

// Results of one method further apart than chance allows (critical range), as core/metrology/uncertainty.py tells it.
function apart(all, sigma) {
  if (all.length < 2 || !sigma) return 0;
  const factor = sheet.range_factors[Math.min(all.length - 2, sheet.range_factors.length - 1)];
  return Math.max(...all) - Math.min(...all) > factor * sigma ? 1 : 0;
}

function judged(value) {
  const parameter = bench.dataset.parameter;
  const { results, sigma } = sheet.shown[parameter];
  const factor = Number(bench.dataset.factor);
  const offset = Number(bench.dataset.offset);
  const all = [...results, value * factor + offset];
  const mean = all.reduce((sum, one) => sum + one, 0) / all.length;
  const inputs = { ...sheet.values, [parameter]: mean, [`${parameter}:n`]: all.length, [`${parameter}:apart`]: apart(all, sigma) };
  return evaluate(sheet.program, inputs)[`verdict:${parameter}`];
}

// Results of several methods are weighed by their uncertainty, which the server does once the value is kept.
function severalMethods() {
  const own = bench.querySelector("[name=p_method]").value;
  return sheet.shown[bench.dataset.parameter].methods.some((method) => method !== own);
}

function glyph(name) {
  const known = document.querySelector(".glyph use");
  const address = known.getAttribute("href").split("#")[0];
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "glyph glyph--word");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", `${address}#${name}`);
  svg.append(use);
  return svg;
}

// A value that is still being typed is not judged: "2" of "25.1" would be told a disaster.
const PAUSE_MS = 450;
let pause = 0;

function typing() {
  clearTimeout(pause);
  bench.querySelector('[data-key="go"]').disabled = typed() === null;
  pause = setTimeout(show, PAUSE_MS);
}

function show() {
  const strip = bench.querySelector("[data-strip]");
  const word = bench.querySelector("[data-word]");
  const says = bench.querySelector("[data-sentence]");
  const go = bench.querySelector('[data-key="go"]');
  const value = typed();
  go.disabled = value === null;
  if (value === null || !sheet) {
    word.replaceChildren();
    says.textContent = field.value && value === null ? bench.dataset.wrong.replace("{typed}", field.value) : "";
    strip.dataset.tone = "ink";
    strip.classList.remove("bench__strip--alarm");
    return;
  }
  if (bench.dataset.unjudged || severalMethods()) {
    word.replaceChildren();
    says.textContent = bench.dataset.unjudged || bench.dataset.several;
    strip.dataset.tone = "ink";
    strip.classList.remove("bench__strip--alarm");
    return;
  }
  const [name, said] = judged(value);
  const shape = sheet.glyphs[name];
  strip.dataset.tone = TONES[shape];
  strip.classList.toggle("bench__strip--alarm", shape === "under" || shape === "over");
  const text = document.createElement("span");
  text.textContent = sheet.words[name];
  word.replaceChildren(glyph(shape), text);
  says.replaceChildren(Object.assign(document.createElement("b"), { textContent: sentence(sheet.sentences, said) }));
}

function press(key) {
  if (key === "back") field.value = field.value.slice(0, -1);
  else if (key === "clear") field.value = "";
  else if (key === "minus") field.value = field.value.startsWith("-") ? field.value.slice(1) : `-${field.value}`;
  else if (field.value.length < 10) field.value += key;
  field.dispatchEvent(new Event("input", { bubbles: true })); // judged here, and kept as a draft
}

async function start() {
  const go = bench.querySelector('[data-key="go"]');
  go.textContent = bench.dataset.next;
  go.value = "next";
  field.setAttribute("inputmode", "none");
  for (const key of bench.querySelectorAll("[data-key]")) {
    if (key.dataset.key === "go") continue;
    key.addEventListener("click", (event) => {
      event.preventDefault();
      press(key.dataset.key);
    });
  }
  field.addEventListener("input", typing);
  bench.scrollIntoView({ block: "nearest" }); // every key in reach
  bench.dataset.ready = "";
  const answer = await fetch(bench.dataset.sheet, { headers: { Accept: "application/json" } });
  if (answer.ok) sheet = await answer.json();
  show();
}

if (field) start();
