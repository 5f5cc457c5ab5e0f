"""JSON from outside, read strictly: no duplicate names, no endless depth, only text that can be stored."""

import codecs
import io
import json
import math
from decimal import Decimal
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


LARGEST_WHOLE = 10**20


def strict_cbor(body: bytes) -> Any:
    """The value of a CBOR body (RFC 8949), of the kinds that JSON has; decimal fractions become floats.

    Raises ParseError for broken CBOR, a name twice, NaN or infinities, more than 20 levels, byte strings, other tags, NUL
    and lone surrogates."""
    import cbor2  # noqa: PLC0415  only this door needs it

    source = io.BytesIO(body)
    try:
        value = cbor2.CBORDecoder(source, max_depth=DEEPEST, allow_duplicate_keys=False).decode()
    except (
        cbor2.CBORError,
        ValueError,
        OverflowError,
        MemoryError,
        RecursionError,
        TypeError,
        ArithmeticError,
    ):
        raise ParseError(_("This is not CBOR, or a name stands twice in one map.")) from None
    if source.read(1):
        raise ParseError(_("This is not CBOR: something stands after its end."))
    value = _plain(value)
    _sound(value)
    return value


def _plain(value: Any, depth: int = 0) -> Any:
    """The same made of what JSON has; what else CBOR knows is refused."""
    if depth > DEEPEST:
        raise ParseError(_("It is nested too deeply."))
    if isinstance(value, dict):
        return {_label(name): _plain(inner, depth + 1) for name, inner in value.items()}
    if isinstance(value, list):
        return [_plain(inner, depth + 1) for inner in value]
    if isinstance(value, Decimal):
        value = float(value)
    if isinstance(value, float) and not math.isfinite(value):
        raise ParseError(_("Not a number, or not finite: only plain numbers are taken."))
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= LARGEST_WHOLE:
        raise ParseError(_("A number is too large."))
    if value is None or isinstance(value, str | bool | int | float):
        return value
    raise ParseError(_("It holds something that is neither number nor text."))


def _label(name: Any) -> Any:
    if (
        isinstance(name, bool)
        or not isinstance(name, str | int)
        or isinstance(name, int)
        and abs(name) > DEEPEST
    ):
        raise ParseError(_("The name of a value is a text or a small whole number."))
    return name


class StrictJSONParser(BaseParser):
    media_type = "application/json"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        return strict_json(stream.read())


class SenMLParser(StrictJSONParser):
    media_type = "application/senml+json"
