"""Bringing lots into being: their numbers, rows and contents. What fills them is posted by the ledger."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from inventory.models import Lot, LotContent
from studio.actions.running import next_numbers
from studio.kernel.errors import Conflict
from studio.models import Member


class LotExpired(Conflict):
    """An expired lot is used only with a reason, which then stands in the record."""

    code = "lot-expired"
    title = "The lot has expired"


@dataclass(frozen=True, slots=True)
class Share:
    """The mass fraction of one leaf material in a lot, with its standard uncertainty where it is known."""

    fraction: Decimal
    uncertainty: Decimal | None = None


def add_lots(
    *, by: Member, now: datetime, lots: Sequence[Lot], contents: Sequence[Mapping[int, Share]]
) -> list[Lot]:
    """Number and write new, empty lots together with their contents (share per material id)."""
    numbers = next_numbers(studio=by.studio, sort="lot", year=now.year, count=len(lots))
    for lot, number in zip(lots, numbers, strict=True):
        lot.number = number
        lot.studio_id = by.studio_id
        lot.by = by
        lot.recorded_at = now
    written = Lot.objects.bulk_create(lots)
    write_contents(list(zip(written, contents, strict=True)))
    return written


def write_contents(contents: Iterable[tuple[Lot, Mapping[int, Share]]]) -> None:
    """Write the contents of each lot's present revision."""
    LotContent.objects.bulk_create(
        LotContent(
            studio_id=lot.studio_id,
            lot=lot,
            revision=lot.contents_revision,
            material_id=material_id,
            fraction=share.fraction,
            uncertainty=share.uncertainty,
        )
        for lot, shares in contents
        for material_id, share in shares.items()
    )


def refuse_expired(*, lots: Iterable[Lot], on: date, reason: str) -> None:
    """Raise `LotExpired` when a lot is past its day and no reason for using it all the same is given."""
    expired = [lot for lot in lots if lot.expires_on is not None and lot.expires_on < on]
    if expired and not reason:
        named = "; ".join(f"{lot.number} on {lot.expires_on}" for lot in expired)
        raise LotExpired(
            f"Expired: {named}. Take another lot, or give a reason for using it.",
            lots=[lot.number for lot in expired],
        )
