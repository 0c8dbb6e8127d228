"""Bodies in: JSON read strictly, and sheets as raw bytes.

JSON is taken at its word or not at all: one object, UTF-8, no name twice, no NaN, nothing nested absurdly deep,
no character that PostgreSQL could not keep. Numbers with a point become exact `Decimal`s, never floats.
"""

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import IO, Any, NoReturn

from rest_framework.parsers import BaseParser

from studio.kernel.errors import Invalid

DEEPEST = 16
LONGEST_NUMBER = 60


class UnreadableBody(Invalid):
    """The body is not one JSON object in UTF-8, or says a name twice, NaN, or an unkeepable character."""

    code = "unreadable-body"
    title = "Unreadable body"


class StrictJSONParser(BaseParser):
    """One JSON object, read strictly."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> dict[str, Any]:
        value = read_json(stream.read())
        if not isinstance(value, dict):
            raise UnreadableBody("Send one JSON object, with { and } around it.")
        return value


class SheetParser(BaseParser):
    """A CSV sheet as its bytes; `studio.kernel.sheets.read_rows` makes rows of it."""

    media_type = "text/csv"

    def parse(  # type: ignore[override]
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> bytes:
        return bytes(stream.read())


def read_json(data: bytes) -> Any:
    """The value of strict JSON; raises `UnreadableBody` with what is wrong and where."""
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        raise UnreadableBody(f"The body is not UTF-8: byte {error.start + 1} fits no character.") from None
    try:
        value = json.loads(
            text,
            parse_float=_number,
            parse_int=_whole,
            parse_constant=_no_constant,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        raise UnreadableBody(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from None
    except RecursionError:
        raise UnreadableBody(f"The body is nested deeper than {DEEPEST} levels.") from None
    _refuse_unkeepable(value, 0)
    return value


def _number(text: str) -> Decimal:
    if len(text) > LONGEST_NUMBER:
        raise UnreadableBody(f"A number in the body has more than {LONGEST_NUMBER} characters.")
    return Decimal(text)


def _whole(text: str) -> int:
    if len(text) > LONGEST_NUMBER:
        raise UnreadableBody(f"A number in the body has more than {LONGEST_NUMBER} characters.")
    return int(text)


def _no_constant(text: str) -> NoReturn:
    raise UnreadableBody(f"The body holds {text}, which is no number.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise UnreadableBody(f"The body says “{name[:60]}” twice in one object.")
        found[name] = value
    return found


def _refuse_unkeepable(value: Any, depth: int) -> None:
    if depth > DEEPEST:
        raise UnreadableBody(f"The body is nested deeper than {DEEPEST} levels.")
    if isinstance(value, str):
        if "\0" in value or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise UnreadableBody(
                "A text in the body holds a character that cannot be kept (NUL or half a pair)."
            )
    elif isinstance(value, dict):
        for name, inner in value.items():
            _refuse_unkeepable(name, depth)
            _refuse_unkeepable(inner, depth + 1)
    elif isinstance(value, list):
        for inner in value:
            _refuse_unkeepable(inner, depth + 1)
