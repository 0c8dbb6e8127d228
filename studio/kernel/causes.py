"""What gives reason for an alert, as a value: whoever finds a cause says what it is in full sentences and numbers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import IntEnum
from typing import Any


class Urgency(IntEnum):
    """How soon somebody should look; the smallest is the most urgent."""

    NOW = 1
    SOON = 2
    LATER = 3

    @property
    def word(self) -> str:
        return self.name.lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One present cause. Of one `kind` and `key` a studio has at most one open alert.

    `subject` and `name` say which thing it is about ("lot", "26-0417-Z"); `details` carry the numbers of the sentence
    for machines, in values that JSON can hold.
    """

    kind: str
    key: str
    subject: str
    name: str
    sentence: str
    urgency: Urgency
    due_on: date | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
