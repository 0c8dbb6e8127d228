"""Setting up a panel: what is compared, who sits, how many answers, and which numbers stand on what.

Orders and numbers are drawn from a seed of the system's chance, which is kept so that they can be drawn again. Whoever
sets a panel up fills the trays and therefore knows; so they do not sit in it.
"""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from batches.calc.discrimination import METHODS
from batches.calc.panel_plan import MOST_SERVINGS, panel_plan
from batches.calc.perceiving import triangles_needed
from batches.calc.serving_orders import drawn_servings
from batches.models import Panel, PanelMethod, PanelServing, PanelSitter, PanelStep
from inventory.models import Lot
from studio.actions.history import record
from studio.kernel.errors import Faults
from studio.kernel.work import work
from studio.models import Member

USUAL_LEVEL = Decimal("0.05")
USUAL_POWER = Decimal("0.8")
USUAL_SHARE = Decimal("0.5")
USUAL_TRIANGLES = 6
MOST_SITTERS = 50
MOST_STRENGTHS = 8
MOST_TRIANGLES = 30
PAIRS = (PanelMethod.PAIR, PanelMethod.PAIR_EITHER_WAY)


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedPanel:
    """A comparison of two lots. In a pair that counts one way, lot B is expected to have more.

    `answers` None plans as many as find `share` (of tellers) with `power` at `level`.
    """

    title: str
    method: PanelMethod
    lot_a: Lot
    lot_b: Lot
    sitters: Sequence[Member]
    attribute: str = ""
    level: Decimal = USUAL_LEVEL
    power: Decimal = USUAL_POWER
    share: Decimal = USUAL_SHARE
    answers: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedTrial:
    """Triangles of one person: ever stronger `stocks` of one material against the bare `solvent`."""

    title: str
    sitter: Member
    stocks: Sequence[Lot]
    solvent: Lot
    triangles: int = USUAL_TRIANGLES
    level: Decimal = USUAL_LEVEL
    note: str = ""


def set_up_panel(*, by: Member, now: datetime, wanted: WantedPanel) -> Panel:
    """Set up a comparison of two lots. Raises `Invalid` with every fault, and `BadTest`."""
    _check(by, wanted)
    plan = panel_plan(
        METHODS[wanted.method],
        level=wanted.level,
        wanted_power=wanted.power,
        share=wanted.share,
        answers=wanted.answers,
    )
    with work():
        panel = Panel.objects.create(
            studio_id=by.studio_id,
            title=wanted.title,
            method=wanted.method,
            attribute=wanted.attribute,
            level=wanted.level,
            power=wanted.power,
            share=wanted.share,
            planned=plan.answers,
            seed=secrets.token_hex(16),
            note=wanted.note,
            by=by,
            at=now,
        )
        _lay_out(panel, [(wanted.lot_a, wanted.lot_b, None)], wanted.sitters)
        _note_set_up(by, now, panel, [wanted.lot_a, wanted.lot_b])
    return panel


def set_up_trial(*, by: Member, now: datetime, wanted: WantedTrial) -> Panel:
    """Set up what finds from which strength on one person perceives a material. Raises `Invalid` with every fault."""
    strengths = {lot.pk: lot.actual_strength or lot.declared_strength for lot in wanted.stocks}
    _check_trial(by, wanted, strengths)
    rising = sorted(wanted.stocks, key=lambda lot: (strengths[lot.pk], lot.pk))
    with work():
        panel = Panel.objects.create(
            studio_id=by.studio_id,
            title=wanted.title,
            method=PanelMethod.TRIANGLE,
            material=rising[0].material,
            level=wanted.level,
            planned=wanted.triangles * len(rising),
            seed=secrets.token_hex(16),
            note=wanted.note,
            by=by,
            at=now,
        )
        _lay_out(panel, [(wanted.solvent, lot, strengths[lot.pk]) for lot in rising], [wanted.sitter])
        _note_set_up(by, now, panel, [*rising, wanted.solvent])
    return panel


def _lay_out(
    panel: Panel, compared: Sequence[tuple[Lot, Lot, Decimal | None]], sitters: Sequence[Member]
) -> None:
    told = {"studio_id": panel.studio_id, "panel": panel}
    steps = PanelStep.objects.bulk_create(
        PanelStep(position=place, lot_a=lot_a, lot_b=lot_b, strength=strength, **told)
        for place, (lot_a, lot_b, strength) in enumerate(compared, 1)
    )
    PanelSitter.objects.bulk_create(PanelSitter(member=member, **told) for member in sitters)
    each = panel.planned // len(steps)
    drawn = drawn_servings(METHODS[panel.method], seed=panel.seed, answers=panel.planned, steps=len(steps))
    PanelServing.objects.bulk_create(
        PanelServing(step=steps[place // each], number=place + 1, places=one.order, codes=one.codes, **told)
        for place, one in enumerate(drawn)
    )


def _note_set_up(by: Member, now: datetime, panel: Panel, lots: Sequence[Lot]) -> None:
    """By number, in an order that says nothing of who is A and who B."""
    changes = {
        "method": [None, panel.method],
        "planned": [None, panel.planned],
        "lots": [None, ", ".join(sorted(lot.number for lot in lots))],
    }
    record(by=by, at=now, subject="panel", name=str(panel.pk), verb="set up", changes=changes)


def _check(by: Member, wanted: WantedPanel) -> None:
    faults = Faults()
    if wanted.lot_a.pk == wanted.lot_b.pk:
        faults.add("other_lot", "Both are the same lot; compare two.")
    _check_lots(faults, "lot", [wanted.lot_a])
    _check_lots(faults, "other_lot", [wanted.lot_b])
    _check_sitters(faults, "people", by, wanted.sitters)
    if wanted.method in PAIRS and not wanted.attribute:
        faults.add("attribute", "Say what a pair is asked for more of, such as “rose”.")
    if wanted.method not in PAIRS and wanted.attribute:
        faults.add("attribute", f"A {wanted.method} asks only which one differs; leave this out.")
    if wanted.answers is not None and not 1 <= wanted.answers <= MOST_SERVINGS:
        faults.add("answers", f"A panel has between 1 and {MOST_SERVINGS} answers.")
    faults.refuse_if_any()


def _check_trial(by: Member, wanted: WantedTrial, strengths: dict[int, Decimal | None]) -> None:
    faults = Faults()
    _check_lots(faults, "stocks", wanted.stocks)
    _check_lots(faults, "solvent_lot", [wanted.solvent])
    _check_sitters(faults, "person", by, [wanted.sitter])
    fewest = triangles_needed(wanted.level)
    if not fewest <= wanted.triangles <= MOST_TRIANGLES:
        faults.add("triangles", f"Give between {fewest} and {MOST_TRIANGLES} triangles for each strength.")
    if not 1 <= len(wanted.stocks) <= MOST_STRENGTHS:
        faults.add("stocks", f"Choose between 1 and {MOST_STRENGTHS} strengths.")
    if len(wanted.stocks) * wanted.triangles > MOST_SERVINGS:
        faults.add("triangles", f"That would be more than {MOST_SERVINGS} trays; take fewer.")
    if len({lot.material_id for lot in wanted.stocks}) > 1:
        faults.add("stocks", "These are stocks of different materials; a nose is tried on one.")
    if len(set(strengths.values())) < len(wanted.stocks):
        faults.add("stocks", "Two of these have the same strength; choose one of them.")
    for lot in wanted.stocks:
        if lot.material_id is None or strengths[lot.pk] is None:
            faults.add("stocks", f"Lot {lot.number} is no stock of one material at a known strength.")
        elif lot.solvent_id is None or lot.solvent_id != wanted.solvent.material_id:
            faults.add(
                "stocks", f"Lot {lot.number} is not diluted in what is in lot {wanted.solvent.number}."
            )
    faults.refuse_if_any()


def _check_lots(faults: Faults, field: str, lots: Sequence[Lot]) -> None:
    for lot in lots:
        if lot.held_at is not None:
            faults.add(field, f"Lot {lot.number} is on hold: {lot.hold_reason} Nobody is to smell it.")
        elif lot.emptied_at is not None:
            faults.add(field, f"Lot {lot.number} is empty.")


def _check_sitters(faults: Faults, field: str, by: Member, sitters: Sequence[Member]) -> None:
    if not 1 <= len(sitters) <= MOST_SITTERS:
        faults.add(field, f"Name between 1 and {MOST_SITTERS} people who sit.")
    if len({member.pk for member in sitters}) < len(sitters):
        faults.add(field, "Somebody is named twice; each may sit several times anyway.")
    for member in sitters:
        if member.pk == by.pk:
            faults.add(
                field,
                "You know what is on the trays, so you cannot sit; let somebody else set it up for you.",
            )
        elif not member.may_write:
            faults.add(field, f"{member} is a reader and cannot answer; choose makers and owners.")
