"""Reading what a program said: verdicts, advice and their sentences."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from servicedesk.core.advice.sheet import BandSpec
from servicedesk.core.advice.verdicts import word_steps
from servicedesk.core.program import check, evaluate
from servicedesk.core.program.evaluate import VERSION, Checked
from servicedesk.core.tables import read_json

WORDS = {
    "in_band": "In band",
    "below": "Below band",
    "above": "Above band",
    "below_limit": "Below the limit",
    "above_limit": "Above the limit",
    "test_again": "Test again",
    "not_tested": "Not tested",
}
NOTHING = "–"
PART = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True)
class Verdict:
    """`word` is a key of WORDS; `also` the word without regard to history; `sentence` says it with numbers."""

    parameter: str
    word: str
    also: str
    sentence_id: str
    parts: Mapping[str, Any]

    @property
    def sentence(self) -> str:
        return say(self.sentence_id, self.parts) if self.sentence_id else ""


@dataclass(frozen=True)
class Line:
    """One line of advice; `why` opens the arithmetic, `mind` says what it does besides. Where it proposes a dose product and
    ml are set, what is left for later days (rest_ml in rest_days), and how a channel could give that (pump, channel, rate)."""

    sentence_id: str
    parts: Mapping[str, Any]
    urgent: bool = False
    why: str = ""
    product: str = ""
    parameter: str = ""
    ml: float | None = None
    mind: str = ""
    rest_ml: float = 0.0
    rest_days: float = 0.0
    pump: str = ""
    channel: str = ""
    rate: float | None = None

    @property
    def sentence(self) -> str:
        return say(self.sentence_id, self.parts)

    @property
    def rest_text(self) -> str:
        """What is left in mL, as it is written down."""
        return f"{self.rest_ml:.9g}"

    @property
    def rate_text(self) -> str:
        """The temporary rate in mL a day, as it is written down."""
        return "" if self.rate is None else f"{self.rate:.9g}"


@dataclass(frozen=True)
class Judgement:
    """All verdicts by parameter, what must be done at once, advice, and what advice still waits for."""

    verdicts: Mapping[str, Verdict]
    urgent: tuple[Line, ...]
    advice: tuple[Line, ...]
    waits_for: tuple[str, ...]
    test_again: tuple[str, ...]


def say(sentence_id: str, parts: Mapping[str, Any]) -> str:
    """The sentence of that id with its parts filled in; a part may itself be a saying."""
    texts = {
        key: say(value["say"], value["parts"])
        if isinstance(value, dict)
        else NOTHING
        if value is None
        else str(value)
        for key, value in parts.items()
    }
    template: str = read_json("sentences.json")[sentence_id]
    return PART.sub(lambda found: texts.get(found.group(1), found.group(0)), template)


def _line(said: Mapping[str, Any]) -> Line:
    extra = said.get("with", {})
    texts = {name: say(s["say"], s["parts"]) for name in ("why", "mind", "pump") if (s := extra.get(name))}
    return Line(
        sentence_id=said["say"],
        parts=said["parts"],
        urgent=bool(extra.get("urgent")),
        **texts,
        product=extra.get("product", ""),
        parameter=extra.get("parameter", ""),
        ml=extra.get("ml"),
        rest_ml=extra.get("rest_ml") or 0.0,
        rest_days=extra.get("rest_days") or 0.0,
        channel=extra.get("channel") or "",
        rate=extra.get("rate"),
    )


def _verdict(parameter: str, output: Any) -> Verdict:
    if output is None:
        return Verdict(parameter=parameter, word="not_tested", also="not_tested", sentence_id="", parts={})
    word, said, also = output
    return Verdict(parameter=parameter, word=word, also=also, sentence_id=said["say"], parts=said["parts"])


@lru_cache(maxsize=1024)
def _word_program(band: BandSpec) -> Checked:
    program = {
        "version": VERSION,
        "inputs": [band.parameter],
        "steps": [[name, step] for name, step in word_steps(band)],
        "outputs": {"word": f"{band.parameter}:word"},
    }
    check(program)
    return Checked(program)


def word_of(band: BandSpec, value: float) -> str:
    """The word of one value against its band, without history, as a visit would say it (a key of WORDS)."""
    return str(evaluate(_word_program(band), {band.parameter: value})["word"])


def judge(program: Mapping[str, Any], values: Mapping[str, float | None]) -> Judgement:
    """Judge the values (inputs as in advice.verdicts) by a tank's program."""
    found = evaluate(program, values)
    verdicts = {
        name.split(":", 1)[1]: _verdict(name.split(":", 1)[1], output)
        for name, output in found.items()
        if name.startswith("verdict:")
    }
    return Judgement(
        verdicts=verdicts,
        urgent=tuple(_line(said) for said in found["urgent"]),
        advice=tuple(_line(said) for said in found["advice"]),
        waits_for=tuple(found["waits_for"]),
        test_again=tuple(found["test_again"]),
    )
