"""Whether the database holds what the model says: lots, claims, batches, contents, the ledger and the ancestries."""

from collections.abc import Sequence
from fractions import Fraction

from batches.models import Batch, BatchLine, Weighing
from inventory.models import Claim, ClaimState, Lot, LotContent, Movement
from inventory.queries.trace import trace_lot
from studio.models import Studio
from tests.batches.bench_model import BenchModel, Entry


def assert_same(studio: Studio, model: BenchModel, expected: Sequence[Entry]) -> None:
    """`expected` are the movements that the model says were made since it was last compared; it notes them."""
    _same_lots(studio, model)
    _same_claims(studio, model)
    _same_batches(studio, model)
    _same_weighings(studio, model)
    _same_contents(studio, model)
    _same_movements(studio, model, expected)


def assert_same_ancestries(studio: Studio, model: BenchModel) -> None:
    for lot in Lot.objects.of(studio).order_by("id"):
        traced = {one.lot.number for one in trace_lot(lot=lot, direction="back").lots}
        assert traced == model.ancestors(lot.number)


def _same_lots(studio: Studio, model: BenchModel) -> None:
    rows = Lot.objects.of(studio).values_list(
        "number", "on_hand", "reserved", "held_at", "contents_revision", "emptied_at"
    )
    found = {
        number: (on_hand, reserved, held is not None, revision, emptied is not None)
        for number, on_hand, reserved, held, revision, emptied in rows
    }
    assert found == {
        lot.number: (lot.on_hand, model.reserved(lot.number), lot.held, lot.revision, lot.on_hand == 0)
        for lot in model.lots.values()
    }


def _same_claims(studio: Studio, model: BenchModel) -> None:
    rows = Claim.objects.of(studio).filter(state=ClaimState.OPEN)
    found = {
        row[:2]: row[2:] for row in rows.values_list("purpose", "lot__number", "asked", "poured", "mass")
    }
    assert found == {
        (batch.number, lot): (claim.asked, claim.poured, claim.mass)
        for batch in model.batches.values()
        for lot, claim in batch.claims.items()
    }


def _same_batches(studio: Studio, model: BenchModel) -> None:
    states = dict(Batch.objects.of(studio).values_list("number", "state"))
    assert states == {batch.number: batch.state for batch in model.batches.values()}
    targets = BatchLine.objects.of(studio).values_list("batch__number", "position", "target")
    assert {row[:2]: row[2] for row in targets} == {
        (batch.number, line.position): line.target for batch in model.batches.values() for line in batch.lines
    }


def _same_weighings(studio: Studio, model: BenchModel) -> None:
    rows = Weighing.objects.of(studio).values_list("id", "mass", "struck_at")
    assert {row[0]: (row[1], row[2] is not None) for row in rows} == {
        weighing_id: (weighing.mass, weighing.struck)
        for batch in model.batches.values()
        for weighing_id, weighing in batch.weighings.items()
    }


def _same_contents(studio: Studio, model: BenchModel) -> None:
    rows = LotContent.objects.of(studio).values_list("lot__number", "revision", "material__name", "fraction")
    found: dict[str, dict[str, Fraction]] = {}
    for number, revision, name, fraction in rows:
        if revision == model.lots[number].revision:
            found.setdefault(number, {})[name] = Fraction(fraction)
    for number, lot in model.lots.items():
        for name in {*lot.contents, *found[number]}:
            off = abs(found[number].get(name, Fraction(0)) - lot.contents.get(name, Fraction(0)))
            assert off <= lot.slack, f"{name} in {number} is off by {float(off)}, beyond {float(lot.slack)}"


def _same_movements(studio: Studio, model: BenchModel, expected: Sequence[Entry]) -> None:
    rows = Movement.objects.of(studio).filter(id__gt=max(model.ledger, default=0)).order_by("id")
    fresh = list(rows.values_list("id", "reason", "source__number", "target__number", "mass"))
    assert [row[1:] for row in fresh] == list(expected)
    for movement_id, *entry in fresh:
        model.note(movement_id, *entry)
