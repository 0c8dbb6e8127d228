"""Which claims on a lot it no longer covers: what was poured is served first, then the oldest claim."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class HeldClaim:
    """One open claim: its id, which tells its age, the grams it holds and those of them already poured."""

    id: int
    mass: Decimal
    poured: Decimal


def shortfalls(on_hand: Decimal, claims: Sequence[HeldClaim]) -> dict[int, Decimal]:
    """Grams that each claim, by id, lacks of a lot that holds `on_hand` grams; in the order they are served.

    Of three claims of 4 g on a lot of 10 g the youngest lacks 2 g, unless something was poured for it: then it is the
    second that does.
    """
    left = on_hand
    lacking = {}
    for claim in sorted(claims, key=lambda held: (held.poured == 0, held.id)):
        served = min(claim.mass, left)
        left -= served
        lacking[claim.id] = claim.mass - served
    return lacking
