"""Turning the ids in a request into the studio's own rows; what another studio has is not there."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db.models import QuerySet

from inventory.models import Balance, Lot, Material, Shelf
from studio.kernel.errors import Invalid
from studio.kernel.numbers import BadNumberText, likely_meant, parse
from studio.models import Member, Scoped, Studio
from studio.models.scoped import NoSuchThing

_MODELS: dict[str, type[Scoped]] = {
    "material": Material,
    "solvent": Material,
    "shelf": Shelf,
    "balance": Balance,
}


class MistypedLot(Invalid):
    """A lot number with a wrong character; `did_you_mean` lists lots that are one slip away."""

    code = "mistyped-lot"
    title = "Mistyped lot number"


def resolved(studio: Studio, values: dict[str, Any]) -> dict[str, Any]:
    """`values` with the ids under material, solvent, shelf, balance and keeper replaced by rows; None stays.

    Raises `NoSuchThing` whose `errors` name the field.
    """
    rows = dict(values)
    for name, model in _MODELS.items():
        if rows.get(name) is not None:
            with naming(name):
                rows[name] = model.objects.one(studio, name, id=rows[name])
    if rows.get("keeper") is not None:
        with naming("keeper"):
            rows["keeper"] = member_of(studio, rows["keeper"])
    return rows


@contextmanager
def naming(field: str) -> Iterator[None]:
    """Lets a thing that is not there be told as the fault of the field that named it."""
    try:
        yield
    except NoSuchThing as refusal:
        raise NoSuchThing(refusal.message, errors={field: [refusal.message]}) from None


def member_of(studio: Studio, member_id: int) -> Member:
    """A member who is still in the studio."""
    found = Member.objects.filter(studio=studio, id=member_id, left_at__isnull=True).first()
    if found is None:
        raise NoSuchThing(f"There is no member {member_id} in this studio.")
    return found


def lot_numbered(studio: Studio, text: str) -> Lot:
    """The studio's lot of this number. A mistyped number raises `MistypedLot` with what may have been meant."""
    try:
        number = parse("lot", text)
    except BadNumberText as fault:
        meant = Lot.objects.of(studio).filter(number__in=likely_meant("lot", text))
        raise mistyped(MistypedLot, fault, meant) from None
    return Lot.objects.one(studio, "lot", number=number)


def mistyped(kind: type[Invalid], fault: BadNumberText, meant: QuerySet[Any]) -> Invalid:
    """A refusal of `kind` for a number with a wrong character, with those of the studio that it may have meant."""
    numbers = list(meant.order_by("number", "id").values_list("number", flat=True)[:5])
    hint = f" Did you mean {' or '.join(numbers)}?" if numbers else ""
    return kind(fault.message + hint, did_you_mean=numbers)
