"""The shapes of a batch's sealed record: read, signed, amended."""

from typing import Any

from rest_framework.serializers import DictField

from studio.api.fields import Direction, Moment, OneOf, PlainText, Shape, WholeNumber
from studio.api.passwords import PasswordText
from studio.models import Meaning

SEAL = "0" * 63 + "f"


class SealField(PlainText):
    """A seal: 64 hexadecimal digits."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(longest=64, **kwargs)

    def to_internal_value(self, data: object) -> str:
        text = super().to_internal_value(data)
        if len(text) != 64 or not set(text) <= set("0123456789abcdef"):
            raise self.refuse("A seal has 64 digits, 0 to 9 and a to f; give the one you read.")
        return text

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[0-9a-f]{64}$", "examples": [SEAL]}


class PointerField(PlainText):
    """A place within a record, as a JSON pointer (RFC 6901)."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(longest=200, **kwargs)

    def to_internal_value(self, data: object) -> str:
        text = super().to_internal_value(data)
        if not text.startswith("/"):
            raise self.refuse("A place within the record begins with a slash, such as /lines/0/supplier_lot.")
        return text

    def described(self, direction: Direction) -> dict[str, Any]:
        return {"type": "string", "pattern": "^/", "maxLength": 200, "examples": ["/lines/0/supplier_lot"]}


class SignatureOut(Shape):
    """Somebody's word for a record."""

    meaning = OneOf(Meaning)
    by = PlainText(longest=120, source="by.person.name", help_text="The printed name.")
    at = Moment()
    signs = SealField(source="signs.seal", help_text="The seal it signs.")
    sequence = WholeNumber(
        source="record.sequence", help_text="Place of the record that seals the signature."
    )


class AmendedOut(Shape):
    """A record that was amended since."""

    sequence = WholeNumber()
    seal = SealField()
    sealed_at = Moment()
    by = PlainText(longest=120, source="by.person.name")
    text = PlainText(longest=10_000_000)


class RecordOut(Shape):
    """The newest sealed record of a batch."""

    sequence = WholeNumber()
    previous = SealField()
    seal = SealField()
    text = PlainText(longest=10_000_000, help_text="The sealed text: RFC 8785 canonical JSON.")
    record = DictField(help_text="What the text says of the batch, for reading; sealed is the text.")
    amended = AmendedOut(many=True, help_text="The records it amends, newest first.")
    signatures = SignatureOut(many=True, help_text="Also those of records that were amended since.")


class SignIn(Shape):
    """A signature to be given. The password is that of the member who acts; a wrong one is noted."""

    seal = SealField(help_text="The seal of the record that was read; an amended one is refused.")
    meaning = OneOf(Meaning)
    password = PasswordText()


class CorrectionIn(Shape):
    """One place of the record, and what it ought to say."""

    where = PointerField()
    says = PlainText(longest=4000, lines=True, blank=True)


class AmendIn(Shape):
    """An amendment: why, and what is corrected; without corrections it is a remark."""

    seal = SealField(help_text="The seal of the record that was read; an amended one is refused.")
    why = PlainText(longest=1000, lines=True)
    corrections = CorrectionIn(many=True, required=False)
