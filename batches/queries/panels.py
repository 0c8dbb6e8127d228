"""Panels as they are looked at: by those who sit, by who set them up, and by everybody once they are closed.

What a tray holds is handed out by `key_of` alone, and only to who set the panel up until it is closed. Everything else
here tells lots in the order of their numbers and trays in theirs, so that no order says what a number stands for. Of
answers, who and when is told; what was answered only after closing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, Q

from batches.calc.discrimination import METHODS, Method
from batches.calc.serving_orders import right_place
from batches.models import Panel, PanelAnswer, PanelServing, PanelSitter, PanelStep
from inventory.models import Lot, Material
from inventory.queries.shelf import lots_of
from studio.kernel.errors import Forbidden
from studio.models import Member, ScopedQuerySet, Studio


class KeyHidden(Forbidden):
    """What the numbers stand for is known to who set the panel up, and to everybody after closing."""

    code = "key-hidden"
    title = "Not before the panel is closed"


@dataclass(frozen=True, slots=True)
class KeyTray:
    """One tray with what stands on it from the left, and the lots behind the numbers."""

    number: int
    codes: Sequence[int | None]
    lots: Sequence[Lot]
    right: int


@dataclass(frozen=True, slots=True)
class Key:
    """Everything that fills the trays, with the seed it was drawn from."""

    panel: Panel
    trays: tuple[KeyTray, ...]


def panels_of(studio: Studio) -> ScopedQuerySet[Panel]:
    """All panels with the names a list shows; one statement and two more for lots and people."""
    rows: ScopedQuerySet[Panel] = Panel.objects.of(studio)
    steps = PanelStep.objects.select_related("lot_a", "lot_b").order_by("position")
    sitters = PanelSitter.objects.select_related("member__person").order_by("member__person__name", "id")
    parts: list[Any] = [Prefetch("steps", queryset=steps), Prefetch("sitters", queryset=sitters)]
    return rows.select_related("by__person", "ended_by__person", "material").prefetch_related(*parts)


def panel_at(*, studio: Studio, panel_id: int) -> Panel:
    """One panel with its lots and people; raises `NoSuchThing`."""
    found: Panel = panels_of(studio).one(studio, "panel", id=panel_id)
    return found


def sits_in(panel: Panel, member: Member) -> bool:
    """Whether a member was named to sit; of a panel read by `panels_of`."""
    return any(one.member_id == member.pk for one in panel.sitters.all())


def may_see_key(panel: Panel, member: Member) -> bool:
    """Whether what stands on the trays is a member's to know."""
    return not panel.is_open or panel.by_id == member.pk


def method_of(panel: Panel) -> Method:
    """The method as arithmetic knows it."""
    return METHODS[panel.method]


def servings_of(panel: Panel) -> ScopedQuerySet[PanelServing]:
    """The trays by number, with who answered and when, but not what stands on them; one statement."""
    rows: ScopedQuerySet[PanelServing] = PanelServing.objects.of(panel.studio_id)
    return rows.filter(panel=panel).select_related("answer__by__person").defer("places")


def answers_of(panel: Panel) -> ScopedQuerySet[PanelAnswer]:
    """The answers, each with its tray; what was answered is told by `told_code` only after closing. One statement."""
    rows: ScopedQuerySet[PanelAnswer] = PanelAnswer.objects.of(panel.studio_id)
    return rows.filter(panel=panel).select_related("by__person", "serving", "panel")


def free_servings(panel: Panel, most: int = 60) -> list[PanelServing]:
    """Trays that nobody has answered, by number; in a trial only the next one. One statement."""
    rows = servings_of(panel).filter(answer__isnull=True).order_by("number", "id")
    return list(rows[: 1 if panel.material_id else most])


def key_of(*, member: Member, panel: Panel) -> Key:
    """What stands on every tray. Raises `KeyHidden`."""
    if not may_see_key(panel, member):
        raise KeyHidden(
            f"What the numbers stand for is known to {panel.by}, who fills the trays, and to everybody when the "
            f"panel is closed."
        )
    from_step = {step.pk: {"A": step.lot_a, "B": step.lot_b} for step in panel.steps.all()}
    return Key(
        panel,
        tuple(
            KeyTray(
                number=one.number,
                codes=one.codes,
                lots=[from_step[one.step_id][letter] for letter in one.places],
                right=right_place(method_of(panel), one.places),
            )
            for one in PanelServing.objects.filter(panel=panel).order_by("number", "id")
        ),
    )


def waiting_for(member: Member) -> list[Panel]:
    """Open panels in which a member sits, the oldest first; a fixed number of statements."""
    rows = panels_of(member.studio).filter(closed_at=None, sitters__member=member)
    return list(rows.order_by("id")[:20])


@dataclass(frozen=True, slots=True)
class Strength:
    """A stock that could stand for one strength of a trial."""

    lot: Lot
    strength: Decimal
    chosen: bool


@dataclass(frozen=True, slots=True)
class Strengths:
    """What is on the shelf for trying a nose on a material in one solvent, from weak to strong."""

    material: Material
    solvent: Material
    solvent_lots: tuple[Lot, ...]
    stocks: tuple[Strength, ...]


def strengths_on_shelf(*, studio: Studio, material: Material) -> list[Strengths]:
    """The stocks of a material by solvent, each with the lots of the bare solvent; two statements.

    Of several lots of one strength the one with most in it is chosen; lots on hold and empty ones are left out.
    """
    free = lots_of(studio).filter(emptied_at__isnull=True, held_at__isnull=True, on_hand__gt=0)
    stocks = free.filter(material=material, solvent__isnull=False).filter(
        Q(actual_strength__isnull=False) | Q(declared_strength__isnull=False)
    )
    by_solvent: dict[Material, list[Lot]] = {}
    for lot in stocks.order_by("-on_hand", "id"):
        if lot.solvent is not None:
            by_solvent.setdefault(lot.solvent, []).append(lot)
    bare: dict[int, list[Lot]] = {}
    solvents = free.filter(material__in=list(by_solvent), solvent__isnull=True)
    for lot in solvents.order_by("-on_hand", "id"):
        bare.setdefault(lot.material_id or 0, []).append(lot)
    found = [
        Strengths(material, solvent, tuple(bare.get(solvent.pk, ())), _rising(lots))
        for solvent, lots in by_solvent.items()
    ]
    return sorted(found, key=lambda one: (-len(one.solvent_lots), -len(one.stocks), one.solvent.name))


def _rising(lots: Sequence[Lot]) -> tuple[Strength, ...]:
    """From weak to strong; of equal ones the first in `lots` is chosen."""
    seen: set[Decimal] = set()
    rows = []
    for lot in lots:
        strength = lot.actual_strength or lot.declared_strength
        labelled = lot.declared_strength or lot.actual_strength
        assert strength is not None
        assert labelled is not None
        rows.append(Strength(lot, strength, labelled not in seen))
        seen.add(labelled)
    return tuple(sorted(rows, key=lambda row: (row.strength, row.lot.pk)))
