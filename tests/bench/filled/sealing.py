"""The sealed record of a filled batch, in the form that closing gives it, and its place in the chain."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from batches.actions.batch_records import RECORD_FORM
from studio.kernel.envelope import envelope
from studio.kernel.mass import from_micrograms
from studio.kernel.seals import FIRST_SEAL, canonical, seal
from tests.bench.filled.lots import Standing


@dataclass(frozen=True, slots=True)
class Pour:
    """One line of a filled batch and its only weighing, in micrograms."""

    lot: Standing
    material: int
    target: int
    mass: int


class Chain:
    """Gives every record its place, the seal before it and its own."""

    def __init__(self, studio: int, by: int, name: str) -> None:
        self.studio, self.by, self.name = studio, by, name
        self.sequence, self.last = 0, FIRST_SEAL

    def seal(self, subject: str, at: datetime, record: Mapping[str, Any]) -> tuple[int, str, str, str]:
        """Sequence, canonical text, seal before and own seal of the next record."""
        self.sequence += 1
        previous = self.last
        text = canonical(
            envelope(
                studio=self.studio,
                sequence=self.sequence,
                subject="batch",
                name=subject,
                at=at,
                by=self.by,
                amends=None,
                record=record,
            )
        )
        self.last = seal(previous, text)
        return self.sequence, text, previous, self.last


def filled_record(
    *,
    number: str,
    kind: str,
    title: str,
    version: tuple[str, int] | None,
    at: str,
    who: str,
    pours: Sequence[Pour],
    lot: Standing,
    names: Mapping[int, str],
) -> dict[str, Any]:
    """What closing seals of a batch of which each line was poured once, on the fine balance."""
    total = _grams(lot.made_mass)
    return {
        "form": RECORD_FORM,
        "batch": number,
        "kind": kind,
        "title": title,
        "formula": version[0] if version else None,
        "version": version[1] if version else None,
        "mass_wanted": _grams(sum(pour.target for pour in pours)),
        "strength_wanted": None,
        "tolerance": "0.020000000",
        "drafted_by": who,
        "drafted_at": at,
        "reserved_at": at,
        "closed_at": at,
        "lines": [_line(place, pour, at, who, names) for place, pour in enumerate(pours, start=1)],
        "left_out_because": "",
        "strength_decision": None,
        "strength_reason": "",
        "made": {
            "lot": lot.number,
            "kind": lot.kind,
            "title": lot.title,
            "mass": total,
            "declared_strength": str(lot.strength),
            "actual_strength": str(lot.strength),
            "strength_standard_uncertainty": str(lot.strength_u),
            "expires_on": lot.expires.isoformat() if lot.expires else None,
            "contents": [
                {
                    "material": names[material],
                    "fraction": str(fraction),
                    "standard_uncertainty": str(lot.known[material]),
                }
                for material, fraction in sorted(lot.contents.items(), key=lambda part: names[part[0]])
            ],
        },
        "planned_cost": None,
        "actual_cost": None,
        "currency": "EUR",
    }


def _line(place: int, pour: Pour, at: str, who: str, names: Mapping[int, str]) -> dict[str, Any]:
    return {
        "position": place,
        "material": names[pour.material],
        "lot": pour.lot.number,
        "lot_strength": str(pour.lot.strength),
        "supplier": pour.lot.supplier,
        "supplier_lot": pour.lot.supplier_lot,
        "planned": _grams(pour.target),
        "target": _grams(pour.target),
        "expired_reason": "",
        "weighings": [
            {
                "lot": pour.lot.number,
                "mass": _grams(pour.mass),
                "standard_uncertainty": "0.000200",
                "source": "balance",
                "reading": f"{_grams(pour.mass)[:-2]} g",
                "balance": "fine",
                "balance_last_passed_check": at,
                "by": who,
                "at": at,
                "recorded_at": at,
                "struck_at": None,
                "struck_by": None,
                "struck_because": None,
            }
        ],
    }


def _grams(micrograms: int) -> str:
    return format(from_micrograms(micrograms), "f") if micrograms else str(Decimal("0.000000"))
