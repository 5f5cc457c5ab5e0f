// Evaluates a tank's rule program in the browser: the same rounded numbers, sentence ids and parts as
// servicedesk/core/program/evaluate.py. Change both; the shared vectors in fixtures/program tell when they differ.

const VERSION = 1;
const LARGEST_TEXT = 1e15;

export class ProgramWrong extends Error {}

const finite = (value) => (Number.isFinite(value) ? value : null);

function round(value, digits) {
  const power = 10 ** Math.trunc(digits);
  const scaled = finite(Math.abs(value) * power);
  if (scaled === null) return null;
  const whole = Math.floor(scaled + 0.5) / power;
  return value < 0 && whole !== 0 ? -whole : whole;
}

function fixed(value, digits) {
  const rounded = round(value, digits);
  return rounded === null || Math.abs(rounded) > LARGEST_TEXT ? null : rounded.toFixed(Math.trunc(digits));
}

function interpolate(x, xs, ys) {
  if (x <= xs[0]) return ys[0];
  for (let number = 1; number < xs.length; number += 1) {
    if (x <= xs[number]) {
      const part = (x - xs[number - 1]) / (xs[number] - xs[number - 1]);
      return ys[number - 1] + part * (ys[number] - ys[number - 1]);
    }
  }
  return ys[ys.length - 1];
}

const ARITHMETIC = {
  "+": (...parts) => parts.reduce((sum, part) => sum + part, 0),
  "*": (...parts) => parts.reduce((product, part) => product * part, 1),
  "-": (a, b) => (b === undefined ? -a : a - b),
  "/": (a, b) => (b === 0 ? null : a / b),
  min: Math.min,
  max: Math.max,
  abs: Math.abs,
  ceil: Math.ceil,
  sqrt: (a) => (a >= 0 ? Math.sqrt(a) : null),
  clamp: (a, low, high) => Math.max(low, Math.min(high, a)),
  round,
  fixed,
};

const COMPARE = {
  "<": (a, b) => a < b,
  "<=": (a, b) => a <= b,
  ">": (a, b) => a > b,
  ">=": (a, b) => a >= b,
  "=": (a, b) => a === b,
};

// What may be reckoned with or compared: a truth, a number, a word; anything else is null.
const kindOf = (value) => ({ boolean: "truth", number: "number", string: "word" })[typeof value] ?? null;

function compare(op, left, right) {
  const kind = kindOf(left);
  if (kind === null || kind !== kindOf(right) || (op !== "=" && kind !== "number")) return false;
  return COMPARE[op](left, right);
}

const valuesOf = (parts, names) =>
  Object.fromEntries(Object.entries(parts).map(([key, part]) => [key, valueOf(part, names)]));

const SPECIAL = {
  and: (names, ...rest) => rest.every((part) => valueOf(part, names) === true),
  or: (names, ...rest) => rest.some((part) => valueOf(part, names) === true),
  not: (names, part) => valueOf(part, names) !== true,
  missing: (names, part) => valueOf(part, names) === null,
  if: (names, condition, then, other) => valueOf(valueOf(condition, names) === true ? then : other, names),
  word: (names, text) => text,
  list: (names, ...rest) => rest.map((part) => valueOf(part, names)).filter((value) => value !== null),
  table: (names, x, xs, ys) => {
    const at = valueOf(x, names);
    return kindOf(at) === "number" ? finite(interpolate(at, xs, ys)) : null;
  },
  say: (names, name, parts, extra) => {
    const said = { say: name, parts: valuesOf(parts, names) };
    if (extra !== undefined) said.with = valuesOf(extra, names);
    return said;
  },
};

function valueOf(expression, names) {
  if (typeof expression === "string") {
    if (!names.has(expression)) throw new ProgramWrong(`“${expression}” is used before it is known.`);
    return names.get(expression);
  }
  if (!Array.isArray(expression)) return expression;
  const [op, ...rest] = expression;
  if (Object.hasOwn(ARITHMETIC, op)) {
    const parts = rest.map((part) => valueOf(part, names));
    if (parts.some((part) => kindOf(part) !== "number")) return null;
    const result = ARITHMETIC[op](...parts);
    return typeof result === "number" ? finite(result) : result;
  }
  if (Object.hasOwn(COMPARE, op)) {
    return compare(op, ...rest.map((part) => valueOf(part, names)));
  }
  if (Object.hasOwn(SPECIAL, op)) return SPECIAL[op](names, ...rest);
  throw new ProgramWrong(`“${op}” is not an operation.`);
}

export function evaluate(program, inputs) {
  if (program.version !== VERSION) throw new ProgramWrong(`The program's version is not ${VERSION}.`);
  const names = new Map();
  for (const name of program.inputs) {
    const given = inputs[name] ?? null;
    if (given !== null && !Number.isFinite(given)) {
      throw new ProgramWrong(`The input “${name}” is not a finite number.`);
    }
    names.set(name, given);
  }
  for (const [name, expression] of program.steps) names.set(name, valueOf(expression, names));
  return valuesOf(program.outputs, names);
}

// Puts a sentence's parts into its template: "{by} under the low mark of {low}." A part may itself be a saying.
export function sentence(templates, said) {
  const text = (part) => {
    if (part === null) return "–";
    return typeof part === "object" ? sentence(templates, part) : String(part);
  };
  return templates[said.say].replace(/\{(\w+)\}/g, (whole, name) =>
    Object.hasOwn(said.parts, name) ? text(said.parts[name]) : whole,
  );
}
