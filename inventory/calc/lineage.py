"""How much of which lot stands behind, or lies ahead of, some grams: the arithmetic of a trace.

Masses are accumulated lot by lot in the order of making, so the work is linear in the pours. Following every
path instead gives the same sums, but the number of paths doubles at each rung where two lots share both
parents, and 88 pours already take seconds; exact rational numbers avoid no path but grow a denominator as
long as the ancestry. So: one pass, `Decimal` with 50 digits (sums of positive terms, hence no loss of
digits), and one named rounding at the end.

A lot that lost solvent holds its other materials in fewer grams: *m* grams poured from it afterwards carry
what was in *m*·κ grams as made, κ the product of book/actual over its losses before that pour. A pour
brings its κ as `concentration`; all masses given out are in grams as made.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from typing import TypeVar

from inventory.calc.wording import figure
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass import BadNumber, nearest_mass, positive_mass

Node = TypeVar("Node", bound=Hashable)

_DIGITS = 50
_GUARD = Decimal("1e-30")


class CircularAncestry(Conflict):
    """A lot that would be its own ancestor."""

    code = "circular-ancestry"
    title = "A lot cannot be made of itself"


class MadeMassUnknown(Invalid):
    """A lot was poured on, but how much of it was made is not given."""

    code = "made-mass-unknown"
    title = "Mass of a made lot is missing"


class MadeMassTooSmall(Invalid):
    """More went into a lot than was made of it."""

    code = "made-mass-too-small"
    title = "More was poured in than was made"


@dataclass(frozen=True, slots=True)
class Pour:
    """Grams that went from one lot into another; `concentration` is the source's κ (≥ 1) at that time."""

    source: int
    target: int
    mass: Decimal
    concentration: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True)
class Share:
    """Grams of (or in) a lot, as made; `generation` is the greatest number of pours between the two lots.

    A share below half a microgram is given as zero grams, but is there.
    """

    lot: int
    mass: Decimal
    generation: int


def nearest_traced_mass(grams: Decimal) -> Decimal:
    """To the microgram, half-even, after rounding to 30 places: so an exact half stays a half.

    Without the first step a half that comes out of 50-digit division as 0.4999… would fall to the wrong side.
    """
    return nearest_mass(grams.quantize(_GUARD, rounding=ROUND_HALF_EVEN))


def shares_back(
    *, target: int, mass: Decimal, pours: Sequence[Pour], concentration: Decimal = Decimal(1)
) -> tuple[Share, ...]:
    """How many grams of each ancestor stand behind `mass` grams of `target`, by generation, then lot.

    `pours` holds every pour into the target and into its ancestors; others are ignored. `concentration` is
    the target's own κ when the grams are taken after a loss of solvent. Raises `CircularAncestry`, and
    `BadNumber` for a mass that is not positive or a concentration below 1.
    """
    into: dict[int, list[Pour]] = {}
    for pour in pours:
        into.setdefault(pour.target, []).append(pour)
    order = making_order({lot: [p.source for p in into[lot]] for lot in into}, target)
    _check(Pour(source=target, target=target, mass=mass, concentration=concentration))
    generation = {target: 0}
    with localcontext(prec=_DIGITS):
        grams = dict.fromkeys(order, Decimal(0)) | {target: mass * concentration}
        for lot in reversed(order):
            inflow = into.get(lot, [])
            for pour in inflow:
                _check(pour)
            per_gram_made = grams[lot] / sum((p.mass for p in inflow), Decimal(0)) if inflow else Decimal(0)
            for pour in inflow:
                grams[pour.source] += per_gram_made * pour.mass * pour.concentration
                generation[pour.source] = max(generation.get(pour.source, 0), generation[lot] + 1)
    return _by_generation(grams, generation, leaving_out=target)


def shares_forward(
    *, source: int, pours: Sequence[Pour], made_mass: Mapping[int, Decimal]
) -> tuple[Share, ...]:
    """How many grams of `source` went into each descendant as it was made, by generation, then lot.

    `pours` holds every pour from the source and from its descendants; others are ignored. `made_mass` is
    needed of each descendant that was itself poured on. Raises `CircularAncestry`, `MadeMassUnknown`,
    `MadeMassTooSmall`, and `BadNumber` as above.
    """
    out_of: dict[int, list[Pour]] = {}
    for pour in pours:
        out_of.setdefault(pour.source, []).append(pour)
    order = making_order({lot: [p.target for p in out_of[lot]] for lot in out_of}, source)
    generation = {source: 0}
    inflow: dict[int, Decimal] = {}
    with localcontext(prec=_DIGITS):
        grams = dict.fromkeys(order, Decimal(0))
        for lot in reversed(order):
            per_gram_made = Decimal(1)
            if lot != source and (lot in out_of or lot in made_mass):
                per_gram_made = grams[lot] / _made(lot, made_mass, inflow[lot])
            for pour in out_of.get(lot, []):
                _check(pour)
                grams[pour.target] += per_gram_made * pour.mass * pour.concentration
                inflow[pour.target] = inflow.get(pour.target, Decimal(0)) + pour.mass
                generation[pour.target] = max(generation.get(pour.target, 0), generation[lot] + 1)
    return _by_generation(grams, generation, leaving_out=source)


def making_order(made_of: Mapping[Node, Sequence[Node]], start: Node) -> list[Node]:
    """`start` and all that it leads to by `made_of`, each after everything it is made of, `start` last.

    Depth first without recursion, so a long ancestry overflows nothing; the order depends on the input
    alone. Raises `CircularAncestry` and names the circle.
    """
    order: list[Node] = []
    finished: set[Node] = set()
    entered: dict[Node, None] = {start: None}
    trail = [(start, iter(made_of.get(start, ())))]
    while trail:
        node, rest = trail[-1]
        following = next((other for other in rest if other not in finished), None)
        if following is None:
            trail.pop()
            entered.pop(node)
            finished.add(node)
            order.append(node)
        elif following in entered:
            path = [*entered][[*entered].index(following) :]
            raise CircularAncestry(
                "These lots are made of each other in a circle: "
                f"{' → '.join(str(step) for step in [*path, following])}. "
                "Reverse the pour that closes it.",
                circle=[str(step) for step in path],
            )
        else:
            entered[following] = None
            trail.append((following, iter(made_of.get(following, ()))))
    return order


def _check(pour: Pour) -> None:
    positive_mass(pour.mass, f"the mass poured from lot {pour.source} into lot {pour.target}")
    if not pour.concentration.is_finite() or pour.concentration < 1:
        raise BadNumber(
            f"The concentration of lot {pour.source} by loss of solvent is {pour.concentration}; "
            "it is at least 1 (1 means that nothing was lost)."
        )


def _made(lot: int, made_mass: Mapping[int, Decimal], poured_in: Decimal) -> Decimal:
    if lot not in made_mass:
        raise MadeMassUnknown(f"How much of lot {lot} was made is not given, but it was poured on.", lot=lot)
    made = positive_mass(made_mass[lot], f"the made mass of lot {lot}")
    if made < poured_in:
        raise MadeMassTooSmall(
            f"{figure(poured_in)} g were poured into lot {lot}, but only {figure(made)} g of it were made.",
            lot=lot,
        )
    return made


def _by_generation(
    grams: Mapping[int, Decimal], generation: Mapping[int, int], *, leaving_out: int
) -> tuple[Share, ...]:
    with localcontext(prec=_DIGITS):
        shares = [
            Share(lot=lot, mass=nearest_traced_mass(mass), generation=generation[lot])
            for lot, mass in grams.items()
            if lot != leaving_out
        ]
    return tuple(sorted(shares, key=lambda share: (share.generation, share.lot)))
