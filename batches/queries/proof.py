"""Proving the batches from scratch: claims fit states, weighings became movements, made lots hold what went in."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import chain

from django.db import connection

from batches.queries.proof_of_making import making_findings
from batches.queries.proof_of_panels import panel_findings
from batches.queries.proof_of_records import record_findings
from inventory.calc.contents import Contents, mixed
from inventory.models.ancestry import contents_in
from inventory.queries.proof import Finding, ledger_findings
from inventory.queries.proof_of_values import value_findings
from studio.kernel.errors import Invalid
from studio.kernel.mass import from_micrograms
from studio.models import Studio
from studio.queries.chain import broken_links, broken_signatures
from studio.queries.checkpoints import broken_checkpoints

BATCHES_AT_ONCE = 200


def everything_found() -> Iterator[Finding]:
    """Everything that does not hold in the ledger, the batches, the sealed records and the checkpoints."""
    yield from ledger_findings()
    yield from all_findings()


def found_twice() -> list[Finding]:
    """What a second proof finds again; nothing is proved twice when the first finds nothing.

    A proof takes many statements, and people go on working meanwhile: what changed between two of them may look like a
    fault, but not twice at the same place.
    """
    first = {(one.studio, one.where) for one in everything_found()}
    if not first:
        return []
    return [one for one in everything_found() if (one.studio, one.where) in first]


def all_findings() -> Iterator[Finding]:
    """Everything about batches and their sealed records that does not hold, in all studios."""
    yield from _claims_fit_states()
    yield from _weighings_became_movements()
    yield from _weighings_stayed_in_their_vials()
    yield from _contents_follow_from_weighings()
    yield from value_findings()
    yield from making_findings()
    yield from panel_findings()
    yield from _closed_are_sealed()
    yield from record_findings()
    yield from _seals()
    yield from _checkpoints()


def _claims_fit_states() -> Iterator[Finding]:
    """A reserved batch, or one being weighed, holds open claims; no other does."""
    rows = _fetch(
        """
        SELECT batch.studio_id, batch.number, batch.state, COALESCE(open.claims, 0) FROM batches_batch batch
        LEFT JOIN (
            SELECT studio_id, purpose, COUNT(*) AS claims FROM inventory_claim WHERE state = 'open'
            GROUP BY studio_id, purpose
        ) open ON open.purpose = batch.number AND open.studio_id = batch.studio_id
        WHERE (batch.state IN ('reserved', 'weighing')) <> (COALESCE(open.claims, 0) > 0) ORDER BY batch.id
        """
    )
    for studio, number, state, claims in rows:
        yield Finding(studio, f"batch {number}", f"is {state} and holds {claims} open claims")
    orphans = _fetch(
        """
        SELECT DISTINCT claim.studio_id, claim.purpose FROM inventory_claim claim LEFT JOIN batches_batch batch
        ON batch.number = claim.purpose AND batch.studio_id = claim.studio_id
        WHERE batch.id IS NULL ORDER BY claim.studio_id, claim.purpose
        """
    )
    for studio, purpose in orphans:
        yield Finding(studio, f"claim for {purpose}", "names a batch that does not exist")


def _weighings_became_movements() -> Iterator[Finding]:
    """What stands of the weighings of an ended batch left its lots, once, and nothing else did for it."""
    rows = _fetch(
        """
        SELECT batch.studio_id, batch.number, COALESCE(weighed.mass, 0), COALESCE(moved.mass, 0) FROM batches_batch batch
        LEFT JOIN (
            SELECT batch_id, SUM(mass) AS mass FROM batches_weighing WHERE struck_at IS NULL GROUP BY batch_id
        ) weighed ON weighed.batch_id = batch.id
        LEFT JOIN (
            SELECT studio_id, batch, SUM(mass) AS mass FROM inventory_movement
            WHERE batch <> '' AND reason IN ('weighed in', 'discarded') GROUP BY studio_id, batch
        ) moved ON moved.batch = batch.number AND moved.studio_id = batch.studio_id
        WHERE COALESCE(moved.mass, 0)
            <> CASE WHEN batch.state IN ('closed', 'void') THEN COALESCE(weighed.mass, 0) ELSE 0 END
        ORDER BY batch.id
        """
    )
    for studio, number, weighed, moved in rows:
        yield Finding(
            studio,
            f"batch {number}",
            f"has {from_micrograms(int(weighed))} g weighed and {from_micrograms(int(moved))} g moved",
        )


def _weighings_stayed_in_their_vials() -> Iterator[Finding]:
    """What was weighed for a vial of a closed grid is in that vial, or was discarded where the vial was left out."""
    rows = _fetch(
        """
        SELECT batch.studio_id, batch.number, cell.number, COALESCE(weighed.mass, 0), COALESCE(moved.mass, 0)
        FROM batches_gridcell cell JOIN batches_batch batch ON batch.id = cell.batch_id
        LEFT JOIN (
            SELECT line.cell_id, SUM(weighing.mass) AS mass FROM batches_weighing weighing
            JOIN batches_batchline line ON line.id = weighing.line_id
            WHERE weighing.struck_at IS NULL AND line.cell_id IS NOT NULL GROUP BY line.cell_id
        ) weighed ON weighed.cell_id = cell.id
        LEFT JOIN (
            SELECT cell.id, SUM(movement.mass) AS mass FROM batches_gridcell cell
            JOIN inventory_movement movement ON movement.target_id = cell.made_id
            WHERE movement.reason = 'weighed in' GROUP BY cell.id
        ) moved ON moved.id = cell.id
        WHERE batch.state = 'closed' AND COALESCE(moved.mass, 0)
            <> CASE WHEN cell.left_out_at IS NULL THEN COALESCE(weighed.mass, 0) ELSE 0 END
        ORDER BY cell.id
        """
    )
    for studio, number, vial, weighed, moved in rows:
        yield Finding(
            studio,
            f"vial {vial} of batch {number}",
            f"was weighed {from_micrograms(int(weighed))} g and holds {from_micrograms(int(moved))} g of it",
        )


def _contents_follow_from_weighings() -> Iterator[Finding]:
    """The contents of every made lot, mixed again from its weighings, are what is written."""
    after = 0
    while True:
        made = _fetch(
            "SELECT id, studio_id, number, made_id FROM batches_batch WHERE state = 'closed' AND id > %s "
            "ORDER BY id LIMIT %s",
            [after, BATCHES_AT_ONCE],
        )
        if not made:
            return
        vials = _fetch(
            "SELECT cell.id, batch.studio_id, batch.number, cell.made_id FROM batches_gridcell cell "
            "JOIN batches_batch batch ON batch.id = cell.batch_id "
            "WHERE batch.id > %s AND batch.id <= %s AND cell.made_id IS NOT NULL ORDER BY cell.id",
            [after, made[-1][0]],
        )
        after = made[-1][0]
        yield from _mixed_again(
            {made_id: (studio, number) for _, studio, number, made_id in [*made, *vials] if made_id}
        )


def _mixed_again(batches: dict[int, tuple[int, str]]) -> Iterator[Finding]:
    marks = ", ".join(["%s"] * len(batches))
    poured = _fetch(
        f"SELECT target_id, source_id, source_revision, mass FROM inventory_movement "
        f"WHERE reason = 'weighed in' AND target_id IN ({marks}) ORDER BY id",
        list(batches),
    )
    contents = contents_in({*batches, *(source for _, source, _, _ in poured)})
    parts: dict[int, list[tuple[Decimal, dict[int, Decimal]]]] = {}
    for target, source, revision, mass in poured:
        parts.setdefault(target, []).append((from_micrograms(mass), contents.get((source, revision), {})))
    for lot_id, (studio, number) in batches.items():
        if _mixture(parts.get(lot_id, [])) != contents.get((lot_id, 0)):
            yield Finding(
                studio, f"batch {number}", "made a lot whose contents do not follow from its weighings"
            )


def _mixture(parts: Sequence[tuple[Decimal, Contents]]) -> Contents | None:
    """What comes of these parts; None where one of them is no longer whole, so that nothing follows from it."""
    try:
        return mixed(parts)
    except Invalid:
        return None


def _closed_are_sealed() -> Iterator[Finding]:
    """Every closed batch has its record; so a chain that lost its last ones shows, though it holds in itself."""
    rows = _fetch(
        """
        SELECT batch.studio_id, batch.number FROM batches_batch batch WHERE batch.state = 'closed' AND NOT EXISTS (
            SELECT 1 FROM studio_sealedrecord record WHERE record.studio_id = batch.studio_id
            AND record.subject = 'batch' AND record.name = batch.number
        ) ORDER BY batch.id
        """
    )
    for studio, number in rows:
        yield Finding(studio, f"batch {number}", "is closed and has no sealed record")


def _seals() -> Iterator[Finding]:
    for studio in Studio.objects.order_by("id"):
        for broken in chain(broken_links(studio), broken_signatures(studio)):
            yield Finding(studio.pk, f"record {broken.sequence} of studio {studio.name}", broken.sentence)


def _checkpoints() -> Iterator[Finding]:
    for studio in Studio.objects.order_by("id"):
        for broken in broken_checkpoints(studio):
            yield Finding(studio.pk, f"{broken.where} of studio {studio.name}", broken.sentence)


def _fetch(statement: str, parameters: list[int] | None = None) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters or [])
        return cursor.fetchall()
