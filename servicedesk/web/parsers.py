"""JSON from outside, read strictly: no duplicate names, no endless depth, only text that can be stored."""

import codecs
import json
import math
from typing import IO, Any

from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

DEEPEST = 20


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ParseError(_("A name stands twice in one object."))
        found[name] = value
    return found


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ParseError(_("A number is too large."))
    return value


def _whole(text: str) -> int:
    if len(text) > 20:
        raise ParseError(_("A number is too large."))
    return int(text)


def _refuse(text: str) -> None:
    raise ParseError(_("Not a number, or not finite: only plain numbers are taken."))


def _sound(value: Any, depth: int = 0) -> None:
    if depth > DEEPEST:
        raise ParseError(_("It is nested too deeply."))
    if isinstance(value, str):
        if "\x00" in value or any("\ud800" <= sign <= "\udfff" for sign in value):
            raise ParseError(_("A text holds a sign that cannot be stored."))
    elif isinstance(value, dict):
        for name, inner in value.items():
            _sound(name, depth)
            _sound(inner, depth + 1)
    elif isinstance(value, list):
        for inner in value:
            _sound(inner, depth + 1)


def strict_json(body: bytes) -> Any:
    """The value of a JSON body in UTF-8.

    Raises ParseError for broken UTF-8, broken JSON, a name twice, NaN or infinities, more than 20 levels,
    NUL and lone surrogates."""
    try:
        text = codecs.decode(body, "utf-8")
        value = json.loads(
            text, object_pairs_hook=_pairs, parse_float=_number, parse_int=_whole, parse_constant=_refuse
        )
    except UnicodeDecodeError:
        raise ParseError(_("The text is not UTF-8.")) from None
    except RecursionError:
        raise ParseError(_("It is nested too deeply.")) from None
    except ValueError:
        raise ParseError(_("This is not JSON.")) from None
    _sound(value)
    return value


class StrictJSONParser(BaseParser):
    media_type = "application/json"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        return strict_json(stream.read())


class SenMLParser(StrictJSONParser):
    media_type = "application/senml+json"
