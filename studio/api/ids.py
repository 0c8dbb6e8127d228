"""Opaque ids of things that have no number or code of their own: a text to hand back, never to reckon with."""

import re
from typing import Any

from studio.api.fields import DescribedField, Direction

LARGEST_ID = 2**63 - 1


class IdField(DescribedField):
    """The id of another thing in the same studio, as text."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, str) and re.fullmatch(r"[1-9][0-9]{0,18}", data) and int(data) <= LARGEST_ID:
            return int(data)
        raise self.refuse(f'Give {self.what} by its id, as text, such as "12".')

    def to_representation(self, value: Any) -> str:
        return str(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "pattern": r"^[1-9]\d{0,18}$", "examples": ["12"]}
