"""The shared vectors through the browser's evaluator: the same numbers, sentence ids and parts."""

import json

import pytest

from servicedesk.core.advice import say
from servicedesk.core.tables import read_json
from tests.core.vectors import FILE, unpacked

pytestmark = [pytest.mark.browser, pytest.mark.slow]  # starts a browser and runs thousands of vectors

COMPARE = """async ([source, programs]) => {
  const blob = new Blob([source], {type: "text/javascript"});
  const { evaluate } = await import(URL.createObjectURL(blob));
  const same = (a, b) => {
    if (a === null || b === null || typeof a !== "object" || typeof b !== "object") return a === b;
    const keys = Object.keys(a);
    return keys.length === Object.keys(b).length && keys.every((key) => same(a[key], b[key]));
  };
  const wrong = []; let count = 0;
  for (const { name, program, cases } of programs) for (const [inputs, wanted] of cases) {
    count += 1;
    const got = evaluate(program, inputs);
    if (!same(got, wanted)) wrong.push([name, inputs, got, wanted]);
  }
  return { count, wrong: wrong.slice(0, 3), bad: wrong.length };
}"""


def both(open_page, settings, programs):
    source = (settings.ROOT / "servicedesk/static/js/sheet/program.js").read_text(encoding="utf-8")
    eyes = open_page()
    eyes.page.goto("about:blank")
    return eyes.page.evaluate(COMPARE, [source, programs])


def test_the_browser_gives_what_python_gives_for_every_vector(open_page, settings):
    programs = unpacked(json.loads(FILE.read_text(encoding="utf-8")))

    found = both(open_page, settings, programs)

    assert (found["bad"], found["wrong"]) == (0, [])
    assert found["count"] == sum(len(p["cases"]) for p in programs)


def test_a_planted_difference_is_found(open_page, settings):
    programs = unpacked(json.loads(FILE.read_text(encoding="utf-8")))[1:2]
    programs[0]["cases"] = programs[0]["cases"][:1]
    programs[0]["cases"][0][1]["waits_for"] = ["planted"]

    assert both(open_page, settings, programs)["bad"] == 1


def sayings(value):
    if isinstance(value, dict) and "say" in value:
        yield value
    for part in value.values() if isinstance(value, dict) else value if isinstance(value, list) else []:
        yield from sayings(part)


SPEAK = """async ([source, templates, said]) => {
  const blob = new Blob([source], {type: "text/javascript"});
  const { sentence } = await import(URL.createObjectURL(blob));
  return said.map((one) => sentence(templates, one));
}"""


def test_the_browser_says_the_same_sentences(open_page, settings):
    kept = json.loads(FILE.read_text(encoding="utf-8"))["programs"]
    said = [one for entry in kept if entry["name"] != "every operation" for one in sayings(entry["pool"])]
    source = (settings.ROOT / "servicedesk/static/js/sheet/program.js").read_text(encoding="utf-8")
    eyes = open_page()
    eyes.page.goto("about:blank")

    found = eyes.page.evaluate(SPEAK, [source, read_json("sentences.json"), said])

    assert len(said) > 1000
    assert found == [say(one["say"], one["parts"]) for one in said]
