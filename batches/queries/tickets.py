"""The batch ticket: before weighing what to pour, after closing the record of what was poured.

One record serves both, so that the sheet that was written on and the one that is filed look alike. Of a closed batch the
names and strengths are those of the record sealed at closing, whatever was renamed since; amendments stand beside it
and obscure nothing.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.conf import settings

from batches.models import BatchState, Weighing
from batches.queries.batches import BatchInHand, BenchLine, batch_in_hand, weighings_of
from batches.queries.paper_cautions import PaperCautions, gathered_cautions
from batches.queries.ticket_vials import TicketVial, ticket_vials
from inventory.calc.lot_codes import LotCode, digital_link, studio_item
from inventory.models import BalanceCheck, Lot
from inventory.models.places import Balance
from inventory.queries.shelf import cautions_of_each, lots_of
from studio.models import SealedRecord, Signature, Studio
from studio.queries.checkpoints import latest_checkpoint

Sealed = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class TicketWeighing:
    """One weighing as it was logged; grams. A struck one says by whom, when and why."""

    mass: Decimal
    uncertainty: Decimal | None
    source: str
    by: str
    at: datetime
    balance: str
    balance_check_at: datetime | None
    struck_at: datetime | None
    struck_by: str
    struck_because: str


@dataclass(frozen=True, slots=True)
class TicketLine:
    """One pour in its order: the lot, what of it is wanted, what may be poured, and what was."""

    position: int
    material: str
    title: str
    lot: str
    link: str
    strength: Decimal | None
    solvent: str
    shelf: str
    supplier: str
    supplier_lot: str
    expires_on: date | None
    expired_reason: str
    planned: Decimal
    target: Decimal
    smallest: Decimal
    largest: Decimal
    weighed: Decimal
    deviation: Decimal
    remark: str
    vial: str
    weighings: tuple[TicketWeighing, ...]


@dataclass(frozen=True, slots=True)
class TicketBalance:
    """The balance chosen for the batch, and when it last passed a check."""

    name: str
    serial: str
    smallest_net_weight: Decimal
    last_passed_check_at: datetime | None


@dataclass(frozen=True, slots=True)
class TicketContent:
    """One material of what was made: mass fraction with its standard uncertainty."""

    material: str
    fraction: Decimal
    uncertainty: Decimal | None


@dataclass(frozen=True, slots=True)
class TicketMade:
    """The lot that the batch became, as it was when made."""

    lot: str
    link: str
    title: str
    kind: str
    mass: Decimal
    declared_strength: Decimal | None
    actual_strength: Decimal | None
    strength_uncertainty: Decimal | None
    expires_on: date | None
    shelf: str
    keeper: str
    contents: tuple[TicketContent, ...]


@dataclass(frozen=True, slots=True)
class TicketCorrection:
    """A place of the record that an amendment corrected."""

    where: str
    said: str
    says: str


@dataclass(frozen=True, slots=True)
class TicketSignature:
    """Somebody's word for a sealed record."""

    meaning: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class TicketSeal:
    """A sealed record of the batch; the first is of its closing, later ones amend and say why."""

    sequence: int
    seal: str
    previous: str
    sealed_at: datetime
    by: str
    amends: int | None
    why: str
    corrections: tuple[TicketCorrection, ...]
    signatures: tuple[TicketSignature, ...]


@dataclass(frozen=True, slots=True)
class TicketCheckpoint:
    """The newest checkpoint when the paper was asked for: by its code it can be looked up later."""

    code: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Ticket:
    """Everything that stands on the paper of a batch; masses in grams, strengths and shares as fractions."""

    studio: str
    number: str
    title: str
    kind: str
    state: str
    formula: str
    formula_name: str
    version: int | None
    mass: Decimal
    strength: Decimal | None
    tolerance: Decimal
    vessel: Decimal | None
    planned_on: date | None
    note: str
    drafted_by: str
    drafted_at: datetime
    reserved_at: datetime | None
    weighing_at: datetime | None
    ended_at: datetime | None
    ended_why: str
    left_out_because: str
    strength_decision: str
    strength_reason: str
    balance: TicketBalance | None
    lines: tuple[TicketLine, ...]
    vials: tuple[TicketVial, ...]
    cautions: PaperCautions
    made: TicketMade | None
    seals: tuple[TicketSeal, ...]
    checkpoint: TicketCheckpoint | None = None


def ticket_of(*, studio: Studio, number: str) -> Ticket:
    """The ticket or record of the batch of this number. Eighteen statements at most, whatever its size; raises `NoSuchThing`."""
    hand = batch_in_hand(studio=studio, number=number)
    batch = hand.batch
    records = _records(studio, number)
    sealed: Sealed = records[0].told()["record"] if batch.state == BatchState.CLOSED else {}
    wanted = {line.line.lot_id for line in hand.lines} | ({batch.made_id} if batch.made_id else set())
    lots = {lot.id: lot for lot in lots_of(studio).filter(id__in=wanted)}
    return Ticket(
        studio=studio.name,
        number=batch.number,
        title=sealed.get("title", batch.title),
        kind=batch.kind,
        state=batch.state,
        formula=batch.version.formula.code if batch.version else "",
        formula_name=batch.version.formula.name if batch.version else "",
        version=batch.version.number if batch.version else None,
        mass=batch.mass,
        strength=batch.strength,
        tolerance=batch.tolerance,
        vessel=batch.vessel_capacity,
        planned_on=batch.planned_on,
        note=batch.note,
        drafted_by=batch.by.person.name,
        drafted_at=batch.created_at,
        reserved_at=batch.reserved_at,
        weighing_at=batch.weighing_at,
        ended_at=batch.ended_at,
        ended_why=batch.ended_why,
        left_out_because=sealed.get("left_out_because") or "",
        strength_decision=sealed.get("strength_decision") or "",
        strength_reason=sealed.get("strength_reason") or "",
        balance=_balance(batch.balance),
        lines=_lines(hand, lots, sealed, _weighings(studio, number)),
        vials=ticket_vials(batch, sealed),
        cautions=_cautions(hand, lots),
        made=_made(lots[batch.made_id], sealed) if batch.made_id else None,
        seals=_seals(records),
        checkpoint=_checkpoint(studio),
    )


def _weighings(studio: Studio, number: str) -> Mapping[int, list[Weighing]]:
    by_line: dict[int, list[Weighing]] = defaultdict(list)
    for weighing in weighings_of(studio=studio, number=number).select_related("balance_check"):
        by_line[weighing.line_id].append(weighing)
    return by_line


def _lines(
    hand: BatchInHand, lots: Mapping[int, Lot], sealed: Sealed, weighings: Mapping[int, list[Weighing]]
) -> tuple[TicketLine, ...]:
    as_sealed = {line["position"]: line for line in sealed.get("lines", ())}
    return tuple(
        _line(
            one,
            lots[one.line.lot_id],
            as_sealed.get(one.line.position, {}),
            tuple(_weighing(weighing) for weighing in weighings.get(one.line.id, ())),
        )
        for one in hand.lines
    )


def _line(one: BenchLine, lot: Lot, sealed: Sealed, weighings: tuple[TicketWeighing, ...]) -> TicketLine:
    line = one.line
    strength = sealed.get("lot_strength", lot.actual_strength)
    return TicketLine(
        position=line.position,
        material=sealed.get("material", line.name),
        title=lot.title,
        lot=lot.number,
        link=link_to(lot),
        strength=None if strength is None else Decimal(strength),
        solvent=lot.solvent.name if lot.solvent else "",
        shelf=lot.shelf.name if lot.shelf else "",
        supplier=sealed.get("supplier", lot.supplier),
        supplier_lot=sealed.get("supplier_lot", lot.supplier_lot),
        expires_on=lot.expires_on,
        expired_reason=line.expired_reason,
        planned=line.planned,
        target=line.target,
        smallest=one.smallest,
        largest=one.largest,
        weighed=one.weighed,
        deviation=one.deviation,
        remark=one.remark,
        vial=str(line.cell) if line.cell else "",
        weighings=weighings,
    )


def _weighing(weighing: Weighing) -> TicketWeighing:
    check = weighing.balance_check
    return TicketWeighing(
        mass=weighing.mass,
        uncertainty=weighing.mass_u,
        source=weighing.source,
        by=weighing.by.person.name,
        at=weighing.at,
        balance=weighing.balance.name if weighing.balance else "",
        balance_check_at=check.at if check else None,
        struck_at=weighing.struck_at,
        struck_by=weighing.struck_by.person.name if weighing.struck_by else "",
        struck_because=weighing.strike_reason or "",
    )


def _balance(balance: Balance | None) -> TicketBalance | None:
    if balance is None:
        return None
    passed = BalanceCheck.objects.filter(balance=balance, passed=True).order_by("-at", "-id").first()
    return TicketBalance(
        name=balance.name,
        serial=balance.serial,
        smallest_net_weight=balance.smallest_net_weight,
        last_passed_check_at=passed.at if passed else None,
    )


def _cautions(hand: BatchInHand, lots: Mapping[int, Lot]) -> PaperCautions:
    """Of what is poured, by line; of a closed batch those of what was made."""
    reports = cautions_of_each(lots.values())
    if hand.batch.made_id:
        return gathered_cautions([("", reports[hand.batch.made_id])])
    return gathered_cautions((str(one.line.position), reports[one.line.lot_id]) for one in hand.lines)


def _made(lot: Lot, sealed: Sealed) -> TicketMade:
    told = sealed["made"]
    contents = [
        TicketContent(part["material"], Decimal(part["fraction"]), _decimal(part["standard_uncertainty"]))
        for part in told["contents"]
    ]
    return TicketMade(
        lot=lot.number,
        link=link_to(lot),
        title=told["title"],
        kind=told["kind"],
        mass=Decimal(told["mass"]),
        declared_strength=_decimal(told["declared_strength"]),
        actual_strength=_decimal(told["actual_strength"]),
        strength_uncertainty=_decimal(told["strength_standard_uncertainty"]),
        expires_on=date.fromisoformat(told["expires_on"]) if told["expires_on"] else None,
        shelf=lot.shelf.name if lot.shelf else "",
        keeper=lot.keeper.person.name if lot.keeper else "",
        contents=tuple(sorted(contents, key=lambda part: (-part.fraction, part.material))),
    )


def _records(studio: Studio, number: str) -> list[SealedRecord]:
    """Of its closing first, then the amendments."""
    rows = SealedRecord.objects.of(studio).filter(subject="batch", name=number)
    return list(rows.select_related("by__person", "amends").order_by("sequence"))


def _seals(records: Sequence[SealedRecord]) -> tuple[TicketSeal, ...]:
    signatures: dict[int, list[TicketSignature]] = defaultdict(list)
    rows = Signature.objects.filter(signs__in=[row.pk for row in records]).select_related("by__person")
    for row in rows.order_by("id"):
        signatures[row.signs_id].append(TicketSignature(row.meaning, row.by.person.name, row.at))
    return tuple(_seal(row, tuple(signatures[row.pk])) for row in records)


def _checkpoint(studio: Studio) -> TicketCheckpoint | None:
    newest = latest_checkpoint(studio)
    return TicketCheckpoint(newest.code, newest.at) if newest else None


def _seal(row: SealedRecord, signatures: tuple[TicketSignature, ...]) -> TicketSeal:
    amendment = row.told()["record"].get("amendment") or {}
    return TicketSeal(
        sequence=row.sequence,
        seal=row.seal,
        previous=row.previous,
        sealed_at=row.sealed_at,
        by=row.by.person.name,
        amends=row.amends.sequence if row.amends else None,
        why=amendment.get("why", ""),
        corrections=tuple(
            TicketCorrection(one["where"], str(one["said"]), str(one["says"]))
            for one in amendment.get("corrections", ())
        ),
        signatures=signatures,
    )


def link_to(lot: Lot) -> str:
    """What the square code of a lot says."""
    code = LotCode(studio_item(lot.studio_id), lot.number, lot.expires_on)
    return digital_link(settings.ORIGIN, code)


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)
