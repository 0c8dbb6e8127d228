"""Proving the ledger from scratch: every balance, sum, claim and content recomputed in the database and compared.

Each proof is one statement that returns only what does not hold, so a sound ledger of any size answers with nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.db import connection

from inventory.models import PASSING_ON
from studio.kernel.mass import from_micrograms

_SIGNED = """
    SELECT studio_id, target_id AS lot_id, mass FROM inventory_movement WHERE target_id IS NOT NULL
    UNION ALL SELECT studio_id, source_id, -mass FROM inventory_movement WHERE source_id IS NOT NULL
"""

_UNITS = "CAST(ROUND({} * 1000000000) AS bigint)"
WHOLE = 10**9
"""Fractions are summed as whole units of their ninth place, which is exact on both engines."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: in which studio, by key, where it is, and what is wrong with it."""

    studio: int | None
    where: str
    what: str


def ledger_findings() -> Iterator[Finding]:
    """Everything in the ledger that contradicts itself, in all studios."""
    yield from _balances()
    yield from _conservation()
    yield from _claims()
    yield from _emptied()
    yield from _contents()
    yield from _drawn_contents()
    yield from _made_masses()
    yield from _reversals()
    yield from _strangers()


def _balances() -> Iterator[Finding]:
    rows = _fetch(
        f"""
        SELECT lot.studio_id, lot.number, lot.on_hand, COALESCE(book.mass, 0) FROM inventory_lot lot
        LEFT JOIN (SELECT lot_id, SUM(mass) AS mass FROM ({_SIGNED}) signed GROUP BY lot_id) book
        ON book.lot_id = lot.id
        WHERE lot.on_hand <> COALESCE(book.mass, 0) OR COALESCE(book.mass, 0) < 0 ORDER BY lot.id
        """
    )
    for studio, number, on_hand, book in rows:
        yield Finding(
            studio, f"lot {number}", f"on hand says {_grams(on_hand)}, its movements add up to {_grams(book)}"
        )


def _conservation() -> Iterator[Finding]:
    rows = _fetch(
        """
        SELECT studio.id, studio.name, COALESCE(held.mass, 0), COALESCE(flow.mass, 0) FROM studio_studio studio
        LEFT JOIN (SELECT studio_id, SUM(on_hand) AS mass FROM inventory_lot GROUP BY studio_id) held
        ON held.studio_id = studio.id
        LEFT JOIN (
            SELECT studio_id, SUM(CASE WHEN source_id IS NULL THEN mass ELSE 0 END)
                - SUM(CASE WHEN target_id IS NULL THEN mass ELSE 0 END) AS mass
            FROM inventory_movement GROUP BY studio_id
        ) flow ON flow.studio_id = studio.id
        WHERE COALESCE(held.mass, 0) <> COALESCE(flow.mass, 0) ORDER BY studio.id
        """
    )
    for studio, name, held, flow in rows:
        yield Finding(
            studio,
            f"studio {name}",
            f"all lots hold {_grams(held)}, but {_grams(flow)} entered and did not leave",
        )


def _claims() -> Iterator[Finding]:
    rows = _fetch(
        """
        SELECT lot.studio_id, lot.number, lot.reserved, COALESCE(open.mass, 0) FROM inventory_lot lot
        LEFT JOIN (
            SELECT lot_id, SUM(mass) AS mass FROM inventory_claim WHERE state = 'open' GROUP BY lot_id
        ) open ON open.lot_id = lot.id
        WHERE lot.reserved <> COALESCE(open.mass, 0) ORDER BY lot.id
        """
    )
    for studio, number, reserved, open_claims in rows:
        yield Finding(
            studio,
            f"lot {number}",
            f"reserved says {_grams(reserved)}, its open claims add up to {_grams(open_claims)}",
        )


def _emptied() -> Iterator[Finding]:
    rows = _fetch(
        """
        SELECT studio_id, number, on_hand FROM inventory_lot
        WHERE (on_hand = 0) <> (emptied_at IS NOT NULL) ORDER BY id
        """
    )
    for studio, number, on_hand in rows:
        yield Finding(
            studio, f"lot {number}", f"holds {_grams(on_hand)} but its emptying time says otherwise"
        )


def _contents() -> Iterator[Finding]:
    """The fractions of a lot add up to 1, and its strength is the share of its material, or of all its odorants."""
    rows = _fetch(
        f"""
        SELECT lot.studio_id, lot.number, lot.contents_revision, {_UNITS.format("lot.actual_strength")},
               held.whole, COALESCE(NULLIF(held.own, 0), held.odorants)
        FROM inventory_lot lot
        LEFT JOIN (
            SELECT owner.id, SUM({_UNITS.format("content.fraction")}) AS whole,
                SUM(CASE WHEN content.material_id = owner.material_id
                    THEN {_UNITS.format("content.fraction")} ELSE 0 END) AS own,
                SUM(CASE WHEN material.kind <> 'solvent'
                    THEN {_UNITS.format("content.fraction")} ELSE 0 END) AS odorants
            FROM inventory_lot owner
            JOIN inventory_lotcontent content
            ON content.lot_id = owner.id AND content.revision = owner.contents_revision
            JOIN inventory_material material ON material.id = content.material_id
            GROUP BY owner.id
        ) held ON held.id = lot.id
        WHERE COALESCE(held.whole, 0) <> {WHOLE}
        OR {_UNITS.format("lot.actual_strength")} <> COALESCE(NULLIF(held.own, 0), held.odorants)
        ORDER BY lot.id
        """
    )
    for studio, number, revision, strength, whole, share in rows:
        if whole is None:
            yield Finding(studio, f"lot {number}", f"revision {revision} has no contents")
        elif whole != WHOLE:
            yield Finding(
                studio,
                f"lot {number}",
                f"revision {revision} has contents that sum to {int(whole) / WHOLE}, not 1",
            )
        else:
            yield Finding(
                studio,
                f"lot {number}",
                f"says its strength is {int(strength) / WHOLE}, its contents say {int(share) / WHOLE}",
            )


def _drawn_contents() -> Iterator[Finding]:
    """What was drawn off is what it was drawn from, as that was then."""
    rows = _fetch(
        """
        SELECT DISTINCT lot.id, lot.studio_id, lot.number FROM inventory_movement movement
        JOIN inventory_lot lot ON lot.id = movement.target_id
        JOIN inventory_lotcontent content ON content.lot_id = lot.id AND content.revision = 0
        LEFT JOIN inventory_lotcontent origin
        ON origin.lot_id = movement.source_id AND origin.revision = movement.source_revision
        AND origin.material_id = content.material_id
        WHERE movement.reason = 'drawn off' AND (origin.id IS NULL OR origin.fraction <> content.fraction)
        ORDER BY lot.id
        """
    )
    for _, studio, number in rows:
        yield Finding(studio, f"lot {number}", "contains something else than the lot it was drawn from")


def _made_masses() -> Iterator[Finding]:
    """What first filled a container is what its lot was made with."""
    filling = ", ".join(f"'{reason.value}'" for reason in PASSING_ON)
    rows = _fetch(
        f"""
        SELECT lot.studio_id, lot.number, lot.made_mass, COALESCE(filled.mass, 0) FROM inventory_lot lot
        LEFT JOIN (
            SELECT target_id, SUM(mass) AS mass FROM inventory_movement
            WHERE target_id IS NOT NULL AND reason IN ('received', {filling}) GROUP BY target_id
        ) filled ON filled.target_id = lot.id
        WHERE lot.made_mass <> COALESCE(filled.mass, 0) ORDER BY lot.id
        """
    )
    for studio, number, made, filled in rows:
        yield Finding(
            studio, f"lot {number}", f"was made with {_grams(made)}, but {_grams(filled)} went into it"
        )


def _reversals() -> Iterator[Finding]:
    rows = _fetch(
        """
        SELECT back.studio_id, back.id, wrong.id FROM inventory_movement back
        JOIN inventory_movement wrong ON wrong.id = back.reverses_id
        WHERE back.mass <> wrong.mass OR COALESCE(back.source_id, 0) <> COALESCE(wrong.target_id, 0)
        OR COALESCE(back.target_id, 0) <> COALESCE(wrong.source_id, 0) ORDER BY back.id
        """
    )
    for studio, back, wrong in rows:
        yield Finding(
            studio, f"movement {back}", f"does not take back movement {wrong}, which it says it reverses"
        )


def _strangers() -> Iterator[Finding]:
    rows = _fetch(
        """
        SELECT movement.studio_id, movement.id FROM inventory_movement movement
        LEFT JOIN inventory_lot source ON source.id = movement.source_id
        LEFT JOIN inventory_lot target ON target.id = movement.target_id
        WHERE source.studio_id <> movement.studio_id OR target.studio_id <> movement.studio_id
        ORDER BY movement.id
        """
    )
    for studio, movement in rows:
        yield Finding(studio, f"movement {movement}", "touches a lot of another studio")


def _grams(count: Any) -> str:
    return f"{from_micrograms(int(count))} g"


def _fetch(statement: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return cursor.fetchall()
