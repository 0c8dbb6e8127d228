"""The small hierarchy of refusals that every floor raises and only the edges translate.

A refusal says what was wrong and what to do, in a full sentence with the numbers in it. Its `code` is
stable and documented; its `extra` fields carry the same numbers for machines. Nothing here knows HTTP:
`studio.api.problems` maps the five kinds of refusal to statuses.
"""

from collections.abc import Mapping
from typing import Any, ClassVar


class Refusal(Exception):
    """Something a person asked for that is not done, and why. Base of all errors meant for people."""

    code: ClassVar[str] = "refused"
    title: ClassVar[str] = "Not done"

    def __init__(self, message: str, **extra: Any) -> None:
        super().__init__(message)
        self.message = message
        self.extra = extra


class Invalid(Refusal):
    """The input itself is wrong. `errors` maps a dotted field path to sentences about that field."""

    code = "invalid"
    title = "The input is not valid"

    def __init__(self, message: str, errors: Mapping[str, list[str]] | None = None, **extra: Any) -> None:
        super().__init__(message, **extra)
        self.errors: dict[str, list[str]] = dict(errors or {})


class NotFound(Refusal):
    """No such thing in this studio; a thing of another studio is refused in the same words."""

    code = "not-found"
    title = "Not found"


class Forbidden(Refusal):
    """The member may see this but not do it."""

    code = "forbidden"
    title = "Not allowed"


class Conflict(Refusal):
    """The input is sound, but the present state of things does not allow it."""

    code = "conflict"
    title = "Not possible as things stand"


class TooOften(Refusal):
    """Something that may be tried only so often was tried more often; `seconds` says how long to wait."""

    code = "too-often"
    title = "Tried too often"

    def __init__(self, message: str, *, seconds: int, **extra: Any) -> None:
        super().__init__(message, seconds=seconds, **extra)
        self.seconds = seconds


class StaleEdition(Refusal):
    """The thing was changed by somebody else since the caller last read it."""

    code = "stale-edition"
    title = "Changed in the meantime"


class Faults:
    """Gathers every fault of an input before it is refused, so that a person mends all of them at once."""

    def __init__(self) -> None:
        self.errors: dict[str, list[str]] = {}

    def add(self, field: str, sentence: str) -> None:
        self.errors.setdefault(field, []).append(sentence)

    def __bool__(self) -> bool:
        return bool(self.errors)

    def refuse_if_any(self, message: str = "") -> None:
        """Raise `Invalid` with everything gathered; the message defaults to the first fault."""
        if not self.errors:
            return
        first = next(iter(self.errors.values()))[0]
        count = sum(len(sentences) for sentences in self.errors.values())
        more = f" ({count - 1} more below)" if count > 1 else ""
        raise Invalid(message or first + more, errors=self.errors)
