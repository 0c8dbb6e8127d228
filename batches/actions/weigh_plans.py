"""Making the weigh plan of a batch, again when the shelf has changed, or by hand.

A weigh plan is made from the shelf as it is at that moment and kept as the batch's lines, with its explanation. It can be
made again when the shelf has changed, held to chosen lots by pins, or replaced by pours edited by hand, which are
checked by the same rules. Where nothing fits, the batch stays a draft without lines, and its explanation says why and
what would help.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal

from batches.actions.batch_lock import lock_batch, save_batch
from batches.actions.plan_explanations import explained, explained_by_hand, unexplained
from batches.calc.weigh_check import HandPour, check_plan
from batches.calc.weigh_explain import Cost
from batches.calc.weigh_obstacles import NoPlan
from batches.calc.weigh_plan import plan_weighing
from batches.calc.weigh_request import Pin, WeighRequest
from batches.models import CLAIMING, Batch, BatchKind, BatchLine, BatchState
from batches.models.pouring import poured_per_line_and_lot, wanted_per_lot
from batches.models.weigh_requests import weigh_request
from inventory.actions.ledger import NoSuchLot, change_claims, claimed_lot_ids, lock_lots
from inventory.calc.wording import figure
from inventory.models import Lot
from studio.actions.history import record
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass import ZERO_MASS
from studio.kernel.work import work
from studio.models import Member

COST_SHOWN = Decimal("0.0001")
OWN_JUDGEMENT = frozenset({"crumb", "deviation", "strength", "proportion", "total"})
"""Rules of a plan that a perfumer may break knowingly; the others cannot be broken at all."""


class PlanDoesNotHold(Conflict):
    """Pours edited by hand break rules of the plan; `faults` lists them."""

    code = "plan-does-not-hold"
    title = "The plan does not hold"

    @property
    def sentences(self) -> list[str]:
        """What is wrong, one sentence for each fault."""
        return [fault["sentence"] for fault in self.extra.get("faults", ())] or [self.message]

    @property
    def may_be_meant(self) -> bool:
        """Whether all of it is the perfumer's own judgement."""
        faults = self.extra.get("faults", ())
        return bool(faults) and all(fault["may_be_meant"] for fault in faults)


class AlreadyPoured(Conflict):
    """Lines with weighings cannot be planned anew."""

    code = "already-poured"
    title = "Already being weighed"


class CrossesGivenLots(Conflict):
    """A grid crosses the lots that were chosen for it; there is nothing to plan but another grid."""

    code = "crosses-given-lots"
    title = "A grid crosses given lots"


@dataclass(frozen=True, slots=True)
class LotPin:
    """A lot, by number, that a line is to be poured from, and grams of it; None leaves the grams to the plan."""

    lot: str
    mass: Decimal | None = None


@dataclass(frozen=True, slots=True)
class WrittenPour:
    """One pour edited by hand: grams of a lot, by number, for the formula line at `line`."""

    line: int
    lot: str
    mass: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """How a plan is to be made: lots pinned per line, or every pour by hand, and lots allowed with a reason each.

    With `knowingly`, pours by hand may break what is the perfumer's own judgement; the explanation then says what.
    """

    pins: Mapping[int, Sequence[LotPin]] = field(default_factory=dict)
    pours: Sequence[WrittenPour] = ()
    allowed: Mapping[str, str] = field(default_factory=dict)
    knowingly: bool = False


def plan_again(
    *, by: Member, now: datetime, number: str, wishes: Wishes | None = None, expected: int | None = None
) -> Batch:
    """Make the weigh plan of a batch anew, from the shelf as it is now; claims it holds are changed with it.

    Raises `CrossesGivenLots`, `AlreadyPoured`, `PlanDoesNotHold`, `NoPlan` for a batch that holds claims (a draft keeps the reasons
    instead), `Shortage`, `WrongState`.
    """
    with work():
        batch = lock_batch(
            by=by,
            number=number,
            states=[BatchState.DRAFT, *CLAIMING],
            doing="planned",
            expected=expected,
        )
        _refuse_grid(batch)
        if batch.weighings.exists():
            raise AlreadyPoured(
                f"Batch {number} has weighings, be they struck through, which stay with their lines; take another "
                "lot for single lines instead."
            )
        make_plan(batch, now.date(), wishes or Wishes())
        if batch.state == BatchState.RESERVED:
            _claim_as_planned(by, now, batch)
        record(by=by, at=now, subject="batch", name=number, verb="planned")
    return batch


def take_other_lot(
    *, by: Member, now: datetime, number: str, position: int, lot: str, expired_reason: str = ""
) -> Batch:
    """Let the rest of a line be poured from another lot of its material, its grams fitted to that lot's strength.

    For a bottle found empty or broken at the bench; what was poured of it stays in the line and stays claimed. Raises
    `CrossesGivenLots`, `AlreadyPoured` when the line holds enough, `PlanDoesNotHold`, `Shortage`, `LotOnHold`.
    """
    with work():
        batch = lock_batch(by=by, number=number, states=[BatchState.DRAFT, *CLAIMING], doing="changed")
        _refuse_grid(batch)
        lines = list(batch.lines.select_related("lot", "material").order_by("position", "id"))
        line = next((one for one in lines if one.position == position), None)
        if line is None:
            raise Invalid(f"Batch {number} has no line {position}.", errors={"position": ["No such line."]})
        poured = poured_per_line_and_lot(batch)
        holds = sum((mass for (line_id, _), mass in poured.items() if line_id == line.id), ZERO_MASS)
        if holds >= line.target:
            raise AlreadyPoured(
                f"Line {position} holds {figure(holds)} g of {figure(line.target)} g already; nothing of it is left to "
                "pour from another lot."
            )
        lots = _lock_for(by, batch, lines, lot)
        request = weigh_request(batch=batch, on=now.date())
        other = next((one for one in request.lots if one.number == lot), None)
        if other is None or other.material != line.material_id:
            raise PlanDoesNotHold(f"Lot {lot} is not {line.name} that stands on the shelf.")
        why_not = other.unusable_because(now.date())
        if why_not and (other.held or not expired_reason):
            raise PlanDoesNotHold(f"Lot {lot} {why_not}.")
        before = line.lot.number
        strength = lots[line.lot_id].actual_strength or Decimal(1)
        line.target = holds + ((line.target - holds) * strength / other.strength).quantize(
            ZERO_MASS, rounding=ROUND_HALF_EVEN
        )
        if not holds:
            line.planned = line.target
        line.lot_id, line.expired_reason, line.pinned = other.id, expired_reason, True
        line.save(update_fields=["lot", "target", "planned", "expired_reason", "pinned"])
        if batch.state in CLAIMING:
            wants = wanted_per_lot(lines, poured)
            change_claims(by=by, now=now, purpose=number, wants=wants, lots=lots)
        save_batch(batch)
        record(
            by=by,
            at=now,
            subject="batch",
            name=number,
            verb="other lot",
            changes={str(position): [before, lot]},
        )
    return batch


def _refuse_grid(batch: Batch) -> None:
    if batch.kind == BatchKind.GRID:
        raise CrossesGivenLots(
            f"{batch.number} is a grid of the lots it was planned with. Leave single vials out, or give it up and plan "
            "another."
        )


def _lock_for(by: Member, batch: Batch, lines: Sequence[BatchLine], lot: str) -> dict[int, Lot]:
    """Every lot that a change of one line can touch: those of the lines, those claimed, and the other lot."""
    others = Lot.objects.of(by.studio).filter(number=lot).values_list("id", flat=True)
    held = claimed_lot_ids(studio=by.studio, purpose=batch.number)
    return lock_lots(studio=by.studio, ids={*others, *held, *(line.lot_id for line in lines)})


def make_plan(batch: Batch, on: date, wishes: Wishes) -> None:
    """Plan a new or locked batch from the shelf as it is and keep lines and explanation; a draft without a plan keeps the reasons."""
    numbers = [*wishes.allowed, *(pin.lot for pins in wishes.pins.values() for pin in pins)]
    ids = _lot_ids(batch, [*numbers, *(pour.lot for pour in wishes.pours)])
    request = weigh_request(
        batch=batch,
        on=on,
        pins={line: [Pin(ids[pin.lot], pin.mass) for pin in pins] for line, pins in wishes.pins.items()},
        allowed_lots={ids[number] for number in wishes.allowed},
    )
    if wishes.pours:
        _by_hand(batch, request, wishes, ids)
    else:
        _by_programme(batch, request, wishes)
    save_batch(batch, "explanation", "planned_cost")


def _by_programme(batch: Batch, request: WeighRequest, wishes: Wishes) -> None:
    try:
        plan = plan_weighing(request)
    except NoPlan as refusal:
        if batch.state != BatchState.DRAFT:
            raise
        batch.lines.all().delete()
        batch.explanation = unexplained(batch=batch, request=request, refusal=refusal)
        batch.planned_cost = None
        return
    batch.explanation = explained(batch=batch, request=request, plan=plan)
    batch.planned_cost = _nearest_shown_cost(plan.cost)
    pours = [HandPour(pour.line, pour.lot, pour.mass) for pour in plan.pours]
    _write_lines(batch, request, pours, set(wishes.pins), wishes)


def _by_hand(batch: Batch, request: WeighRequest, wishes: Wishes, ids: Mapping[str, int]) -> None:
    pours = [HandPour(pour.line, ids[pour.lot], pour.mass) for pour in wishes.pours]
    checked = check_plan(request, pours)
    standing = [fault for fault in checked.faults if not (wishes.knowingly and fault.kind in OWN_JUDGEMENT)]
    if standing:
        raise PlanDoesNotHold(
            " ".join(fault.sentence for fault in standing),
            faults=[
                {
                    "kind": fault.kind,
                    "line": fault.line,
                    "sentence": fault.sentence,
                    "may_be_meant": fault.kind in OWN_JUDGEMENT,
                }
                for fault in standing
            ],
        )
    batch.explanation = explained_by_hand(request=request, checked=checked)
    batch.planned_cost = _nearest_shown_cost(checked.cost)
    _write_lines(batch, request, pours, {pour.line for pour in pours}, wishes)


def _write_lines(
    batch: Batch, request: WeighRequest, pours: Sequence[HandPour], pinned: set[int], wishes: Wishes
) -> None:
    """Replace the batch's lines: odorants in the order of the formula, free solvent last, as it is poured."""
    batch.lines.all().delete()
    by_key = {line.key: line for line in request.lines}
    rows = {} if batch.version is None else dict(batch.version.lines.values_list("position", "id"))
    reasons = {lot.id: wishes.allowed.get(lot.number, "") for lot in request.lots}
    in_order = sorted(pours, key=lambda pour: (by_key[pour.line].is_solvent, pour.line, pour.lot))
    BatchLine.objects.bulk_create(
        BatchLine(
            studio_id=batch.studio_id,
            batch=batch,
            position=position,
            formula_line_id=rows.get(pour.line),
            material_id=by_key[pour.line].material,
            lot_id=pour.lot,
            planned=pour.mass,
            target=pour.mass,
            pinned=pour.line in pinned,
            expired_reason=reasons[pour.lot],
        )
        for position, pour in enumerate(in_order, start=1)
    )


def _claim_as_planned(by: Member, now: datetime, batch: Batch) -> None:
    wants = wanted_per_lot(batch.lines.order_by("position", "id"), {})
    held = claimed_lot_ids(studio=by.studio, purpose=batch.number)
    lots = lock_lots(studio=by.studio, ids={*wants, *held})
    change_claims(by=by, now=now, purpose=batch.number, wants=wants, lots=lots)


def _lot_ids(batch: Batch, numbers: Sequence[str]) -> dict[str, int]:
    rows = dict(Lot.objects.of(batch.studio_id).filter(number__in=set(numbers)).values_list("number", "id"))
    missing = sorted(set(numbers) - set(rows))
    if missing:
        raise NoSuchLot(f"There is no lot {', '.join(missing)} in this studio.", lots=missing)
    return rows


def _nearest_shown_cost(cost: Cost) -> Decimal | None:
    """Half-even to four places of the currency, as a batch shows it; unknown when a lot's cost is."""
    return None if cost.unknown_lots else cost.known.quantize(COST_SHOWN, rounding=ROUND_HALF_EVEN)
