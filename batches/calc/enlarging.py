"""How much larger a batch must become so that an overpoured line is no longer too much: two closed forms.

All amounts are whole micrograms and all factors exact fractions, so a tolerance that is just met counts as
met. The plan gives each line's part *p*ᵢ = *n*ᵢ/*N*; poured so far is *a*ᵢ; enlarging by *k* brings every
line to *kn*ᵢ unless more is in already.

*Fully*: *k* = max *a*ᵢ/*n*ᵢ, after which every part is right again.

*Just enough*: the smallest *k* with every part within 1 ± τ of its *p*ᵢ. A line stays at *a*ᵢ while *kn*ᵢ is
less than *a*ᵢ plus the smallest amount that can be added to it, so line *i* changes from staying to filled at
one known *k*. Between two such changes the mass *T* = *A* + *kF* (staying lines *A*, filled lines with
planned mass *F*) is linear in *k*, and so is each condition:

    staying    (1 − τ)·*T* ≤ *Na*ᵢ/*n*ᵢ ≤ (1 + τ)·*T*
    filled     (1 − τ)·*T* ≤ *Nk* ≤ (1 + τ)·*T*

Each stretch therefore allows one interval of *k*, found by division, and the first stretch with one holds
the answer. Halving an interval instead would be inexact, and wrong as well where lines too small to top up
make the allowed *k* fall apart into several intervals.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate

Micrograms = Sequence[int]


def kept_going(targets: Micrograms, poured: Micrograms, tolerance: Fraction) -> list[int]:
    """What each line will hold when the rest is poured to its target.

    A line that is within tolerance of its target or above it is finished; any other is still poured full.
    """
    return [
        done if done >= target * (1 - tolerance) else target
        for target, done in zip(targets, poured, strict=True)
    ]


def deviations(planned: Micrograms, masses: Sequence[int | Fraction]) -> list[Fraction]:
    """Relative deviation of each line's part of the whole from its planned part; −1 when there is nothing."""
    whole, total = sum(planned), sum(masses)
    if total == 0:
        return [Fraction(-1)] * len(planned)
    return [mass * Fraction(whole, n) / total - 1 for n, mass in zip(planned, masses, strict=True)]


def least_factor(planned: Micrograms, targets: Micrograms) -> Fraction:
    """The factor on the plan that the batch has already: it is never made smaller."""
    return Fraction(sum(targets), sum(planned))


def full_factor(planned: Micrograms, targets: Micrograms, poured: Micrograms) -> Fraction:
    """The smallest factor on the plan at which no line is overpoured."""
    needed = max(Fraction(done, n) for n, done in zip(planned, poured, strict=True))
    return max(needed, least_factor(planned, targets))


def enlarged(
    planned: Micrograms, poured: Micrograms, smallest: Micrograms, factor: Fraction
) -> list[Fraction]:
    """What each line will hold after enlarging by `factor`, leaving out top-ups below the smallest amount.

    A line of which nothing was poured yet is never left out.
    """
    return [
        Fraction(done) if done and factor * n < done + least else factor * n
        for n, done, least in zip(planned, poured, smallest, strict=True)
    ]


def just_enough(
    planned: Micrograms, targets: Micrograms, poured: Micrograms, smallest: Micrograms, tolerance: Fraction
) -> Fraction | None:
    """The smallest factor on the plan up to the full one that brings every line within tolerance.

    `None` when top-ups that are left out keep a line outside at every such factor.
    """
    whole, lowest = sum(planned), least_factor(planned, targets)
    highest = full_factor(planned, targets, poured)
    # In the order in which lines change from staying to filled.
    lines = sorted(
        (Fraction(done + least, n) if done else Fraction(0), Fraction(done, n), n, done)
        for n, done, least in zip(planned, poured, smallest, strict=True)
    )
    ratios = [ratio for _, ratio, _, _ in lines]
    greatest = [*accumulate(reversed(ratios), max)][::-1]
    least_left = [*accumulate(reversed(ratios), min)][::-1]
    staying, filled = sum(poured), 0
    start = Fraction(0)
    for place in range(len(lines) + 1):
        end = lines[place][0] if place < len(lines) else None
        left = (least_left[place], greatest[place]) if place < len(lines) else None
        allowed = _allowed(whole, staying, filled, left, tolerance)
        if allowed is not None:
            factor = max(start, lowest, allowed[0])
            below_end = end is None or factor < end
            below_upper = allowed[1] is None or factor <= allowed[1]
            if below_end and below_upper and factor <= highest:
                return factor
        if end is not None:
            start, staying, filled = end, staying - lines[place][3], filled + lines[place][2]
    return None


def _allowed(
    whole: int, staying: int, filled: int, left: tuple[Fraction, Fraction] | None, tolerance: Fraction
) -> tuple[Fraction, Fraction | None] | None:
    """Least and greatest factor (`None`: no bound) at which all conditions hold while these lines stay and
    those are filled; `left` are the least and greatest *a*ᵢ/*n*ᵢ of the staying lines.
    """
    low, high = 1 - tolerance, 1 + tolerance
    if left is None:
        return Fraction(0), None
    if not filled:
        return (
            (Fraction(0), None)
            if low * staying <= whole * left[0] and whole * left[1] <= high * staying
            else None
        )
    least = max((whole * left[1] / high - staying) / filled, low * staying / (whole - low * filled))
    greatest = (whole * left[0] / low - staying) / filled
    if whole > high * filled:
        greatest = min(greatest, high * staying / (whole - high * filled))
    return (least, greatest) if least <= greatest else None
