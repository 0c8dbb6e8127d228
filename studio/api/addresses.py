"""E-mail addresses as bodies have them."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from studio.api.fields import DescribedField, Direction

LONGEST = 254


class EmailText(DescribedField):
    """An e-mail address."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or len(data) > LONGEST:
            raise self.refuse(f"Give an e-mail address of at most {LONGEST} characters.")
        try:
            validate_email(data.strip())
        except ValidationError:
            raise self.refuse("This is not an e-mail address.") from None
        return data.strip()

    def to_representation(self, value: Any) -> str:
        return str(value)

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "format": "email", "maxLength": LONGEST, "examples": ["noor@example.org"]}
