"""A password in a body: read as it is, judged by an action, never written."""

from typing import Any

from studio.api.fields import DescribedField, Direction


class PasswordText(DescribedField):
    """A password: taken as it is, and never written."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or not data:
            raise self.refuse("Give the password as text.")
        if len(data) > 4096:
            raise self.refuse("No password is that long.")
        return data

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "format": "password", "minLength": 1, "maxLength": 4096, "writeOnly": True}
