"""`MassField`: grams as `Decimal` in Python, an exact integer of micrograms in the database.

SQLite adds decimals up as binary floats; integers stay exact on both engines, so every sum over the ledger
is exact. Sums over the field come back as grams; an expression of several fields needs `output_field=MassField()`
to be compared with grams.
"""

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.core.exceptions import ValidationError
from django.db import models

from studio.kernel.errors import Invalid
from studio.kernel.mass import exact_mass, from_micrograms, micrograms

if TYPE_CHECKING:
    from django.db.models.expressions import Combinable


class MassField(models.BigIntegerField):  # type: ignore[type-arg]
    """A mass in grams on the microgram grid."""

    description = "Mass, exact to the microgram"

    if TYPE_CHECKING:
        _pyi_private_set_type: Decimal | int | Combinable  # type: ignore[assignment]
        _pyi_private_get_type: Decimal  # type: ignore[assignment]
        _pyi_lookup_exact_type: Decimal | int  # type: ignore[assignment]

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> Decimal | None:
        return None if value is None else from_micrograms(int(value))

    def get_prep_value(self, value: Any) -> int | None:
        if value is None or hasattr(value, "resolve_expression"):
            return value  # type: ignore[no-any-return]
        return micrograms(Decimal(value))

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or isinstance(value, Decimal):
            return value
        try:
            return exact_mass(value)
        except Invalid as refusal:
            raise ValidationError(refusal.message) from None

    def value_to_string(self, obj: models.Model) -> str:
        return str(self.value_from_object(obj))
