"""What stands on the labels of lots: name, number, strength, days, keeper, cautions, and the square code."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from batches.queries.tickets import link_to
from inventory.calc.pictograms import pictograms_of
from inventory.models import Lot
from inventory.queries.shelf import cautions_of_each, lots_of
from studio.models import Studio
from studio.models.scoped import NoSuchThing


@dataclass(frozen=True, slots=True)
class LabelPictogram:
    """A hazard symbol with its word."""

    code: str
    word: str


@dataclass(frozen=True, slots=True)
class Label:
    """The label of one lot; strength as a fraction, the mass that first filled it in grams."""

    lot: str
    link: str
    kind: str
    title: str
    strength: Decimal | None
    solvent: str
    made_mass: Decimal
    made_at: datetime
    made_in: str
    supplier_lot: str
    expires_on: date | None
    keeper: str
    held: bool
    pictograms: tuple[LabelPictogram, ...]


@dataclass(frozen=True, slots=True)
class LabelSet:
    """The labels asked for, in the order asked."""

    studio: str
    labels: tuple[Label, ...]


def labels_of(*, studio: Studio, numbers: Sequence[str]) -> LabelSet:
    """Labels of the lots of these numbers, in their order; a number that comes twice makes two. Two statements.

    Raises `NoSuchThing` naming every number that the studio does not have.
    """
    lots = {lot.number: lot for lot in lots_of(studio).filter(number__in=set(numbers))}
    missing = [number for number in dict.fromkeys(numbers) if number not in lots]
    if missing:
        raise NoSuchThing(f"There is no lot {', '.join(missing)} in this studio.")
    reports = cautions_of_each(lots.values())
    codes = {lot_id: [one.code for one in report.cautions] for lot_id, report in reports.items()}
    made = {number: _label(lot, codes[lot.id]) for number, lot in lots.items()}
    return LabelSet(studio=studio.name, labels=tuple(made[number] for number in numbers))


def _label(lot: Lot, codes: Sequence[str]) -> Label:
    return Label(
        lot=lot.number,
        link=link_to(lot),
        kind=lot.kind,
        title=lot.title,
        strength=lot.declared_strength or lot.actual_strength,
        solvent=lot.solvent.name if lot.solvent else "",
        made_mass=lot.made_mass,
        made_at=lot.made_at,
        made_in=lot.made_in,
        supplier_lot=lot.supplier_lot,
        expires_on=lot.expires_on,
        keeper=lot.keeper.person.name if lot.keeper else "",
        held=lot.held_at is not None,
        pictograms=tuple(LabelPictogram(one.code, one.word) for one in pictograms_of(codes)),
    )
