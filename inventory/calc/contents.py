"""What a lot actually contains: the mass fraction of every leaf material, when it is made and when it dries.

A made lot's contents are the mass-weighted mean of the contents of the lots weighed into it, worked out once
from the actual weighings; nothing is looked up again when they are read. A lot that lost solvent keeps its
other materials, which therefore grow stronger in what is left. Results are nine-place fractions in ascending
order of material that sum to exactly 1; a trace below half a part in 10⁹ may round away and is then left
out (the ancestry of the lot still leads to it).
"""

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal, localcontext

from inventory.calc.wording import figure, readable
from studio.kernel.errors import Conflict, Invalid
from studio.kernel.mass import exact_mass, fractions_summing_to_one, positive_mass

Contents = Mapping[int, Decimal]
"""Mass fraction by material id: each above 0 and at most 1, together exactly 1."""

_DIGITS = 50
"""Enough for mass × fraction × fraction sums to be exact before the one named rounding."""


class NothingMixed(Invalid):
    """A mixture of no parts has no contents."""

    code = "nothing-mixed"
    title = "Nothing was weighed"


class ContentsNotWhole(Invalid):
    """Fractions that are no fractions, or that do not add up to 1."""

    code = "contents-not-whole"
    title = "Contents do not add up"


class GainNotLoss(Invalid):
    """The container holds more than the book says: that is no evaporation."""

    code = "gain-not-loss"
    title = "More there than in the book"


class LossExceedsSolvent(Conflict):
    """More was lost than the lot had solvent: something else than solvent is gone."""

    code = "loss-exceeds-solvent"
    title = "More lost than there was solvent"


def mixed(parts: Sequence[tuple[Decimal, Contents]]) -> dict[int, Decimal]:
    """Contents of what was made from `parts`, each the grams weighed and the contents of the lot they came from.

    *f*ⱼ = Σᵢ *m*ᵢ*x*ᵢⱼ / Σᵢ *m*ᵢ, rounded once by the largest-remainder method. Raises `NothingMixed`,
    `ContentsNotWhole`, or `BadNumber` for a mass that is not positive.
    """
    if not parts:
        raise NothingMixed("Nothing was weighed, so there is nothing to work contents out from.")
    grams: dict[int, Decimal] = {}
    with localcontext(prec=_DIGITS):
        for place, (mass, contents) in enumerate(parts, start=1):
            weighed = positive_mass(mass, f"the mass of part {place}")
            _check_whole(contents, f"part {place}")
            for material, fraction in contents.items():
                grams[material] = grams.get(material, Decimal(0)) + weighed * fraction
        return _fractions(grams)


def evaporated(
    *, contents: Contents, solvents: Collection[int], book: Decimal, actual: Decimal
) -> dict[int, Decimal]:
    """Contents of a lot that held `book` grams by the ledger and `actual` grams on the balance, solvent lost.

    Every material that is not among `solvents` is still all there, so its fraction rises by book/actual; the
    solvents share the loss in proportion to their fractions (how their vapour really divides is not known
    and not guessed). Pass only those solvents that can have evaporated. A lot that was nothing but
    solvent keeps its contents, also when nothing is left.

    Raises `GainNotLoss` when `actual` exceeds `book`, `LossExceedsSolvent` when the loss is more than the
    solvent there was (a strength above 1), `ContentsNotWhole`, or `BadNumber`.
    """
    before = positive_mass(book, "the mass in the book")
    after = exact_mass(actual, "the actual mass")
    _check_whole(contents, "the lot")
    if after > before:
        raise GainNotLoss(
            f"The container holds {figure(after)} g and the book says {figure(before)} g: nothing has evaporated. "
            "Count the surplus up instead.",
            book=before,
            actual=after,
        )
    with localcontext(prec=_DIGITS):
        share = strength_of(contents, solvents)
        solvent_left = share * before - (before - after)
        if solvent_left < 0:
            raise LossExceedsSolvent(
                f"{figure(before - after)} g are missing, but the lot held only {readable(share * before, 9)} g of "
                "solvent. "
                "Part of it was spilled or poured without a record: book that part as spilled.",
                lost=before - after,
                solvent=share * before,
            )
        if share in (0, 1):
            return _fractions(contents)
        # All weights carry the common factor `share`, so that nothing is divided before the rounding.
        return _fractions(
            {
                material: fraction * (solvent_left if material in solvents else before * share)
                for material, fraction in contents.items()
            }
        )


def concentration_of_loss(*, book: Decimal, actual: Decimal) -> Decimal:
    """The factor (at least 1) by which everything but the solvent grew stronger: book/actual, 28 digits.

    Factors of successive losses multiply; `inventory.calc.lineage` takes the product with each pour.
    Raises `GainNotLoss` when `actual` exceeds `book`, and `BadNumber`.
    """
    before = positive_mass(book, "the mass in the book")
    after = positive_mass(actual, "the actual mass")
    if after > before:
        raise GainNotLoss(
            f"The container holds {figure(after)} g and the book says {figure(before)} g: nothing is lost."
        )
    with localcontext(prec=28):
        return before / after


def strength_of(contents: Contents, of: Collection[int]) -> Decimal:
    """Exact share of the materials `of` in `contents`: the strength, when `of` are the declared ones."""
    return sum((fraction for material, fraction in contents.items() if material in of), Decimal(0))


def _check_whole(contents: Contents, where: str) -> None:
    if not contents:
        raise ContentsNotWhole(f"The contents of {where} are not known.")
    for material, fraction in contents.items():
        if not fraction.is_finite() or not 0 <= fraction <= 1:
            raise ContentsNotWhole(
                f"Material {material} in {where} has the fraction {fraction}; "
                "a fraction lies between 0 and 1.",
                material=material,
            )
    total = sum(contents.values(), Decimal(0))
    if total != 1:
        raise ContentsNotWhole(f"The fractions in {where} add up to {total}, not to 1.", total=total)


def _fractions(grams: Mapping[int, Decimal]) -> dict[int, Decimal]:
    fractions = fractions_summing_to_one(grams, sorted(grams))
    return {material: fraction for material, fraction in fractions.items() if fraction}
