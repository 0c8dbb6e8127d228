"""Turning what an address says of a batch, a formula or a day into what the studio calls it."""

from datetime import date

from django.urls.converters import StringConverter

from batches.models import Batch
from inventory.api.references import mistyped
from studio.kernel.errors import Invalid
from studio.kernel.numbers import BadNumberText, likely_meant, parse
from studio.models import Studio


class MistypedBatch(Invalid):
    """A batch number with a wrong character; `did_you_mean` lists batches that are one slip away."""

    code = "mistyped-batch"
    title = "Mistyped batch number"


def batch_number(studio: Studio, text: str) -> str:
    """`text` as the number of a batch. A mistyped one raises `MistypedBatch` with what may have been meant."""
    try:
        return parse("batch", text)
    except BadNumberText as fault:
        meant = Batch.objects.of(studio).filter(number__in=likely_meant("batch", text))
        raise mistyped(MistypedBatch, fault, meant) from None


class FormulaCode(StringConverter):
    """The code of a formula in an address, as it is kept: in capitals it says the same."""

    def to_python(self, value: str) -> str:
        return value.lower()


class Day:
    """A day in an address, as in 2026-03-09."""

    regex = "[0-9]{4}-[0-9]{2}-[0-9]{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return value.isoformat()
