"""A thousand traps of units, commas and points: none is recorded ten, a hundred or a thousand times wrong.

Each trap is a weight that was meant, within the band of its line, as a hurried hand writes it: with its point shifted, a
comma for the point, a unit left out, or another unit than was read. Either it is refused or asked for a second time, or
what is recorded is what was meant.
"""

from collections import Counter
from decimal import Decimal
from random import Random

from batches.calc.typed_slips import LineBand, question_about, unit_wanted
from inventory.calc.readings import UnclearWeight, typed_weight

TRAPS = 1000
TOLERANCE = Decimal("0.02")
STEP = Decimal("0.001")


def written(dice: Random, meant: Decimal) -> str:
    """A mass in grams as it may come out of a hand."""
    plain = f"{meant.normalize():f}"
    milligrams = f"{(meant * 1000).normalize():f}"
    shifted = f"{meant.scaleb(dice.choice([-3, -2, -1, 1, 2, 3])).normalize():f}"
    return dice.choice(
        [
            plain,
            plain.replace(".", ","),
            f"{meant:f}".replace(".", ","),
            plain.replace(".", ""),
            f"0{plain}".replace(".", ""),
            milligrams,
            f"{milligrams} mg",
            f"{milligrams} g",
            f"{milligrams} Mg",
            f"{int(meant * 1000):,} mg",
            f"{int(meant * 1000):,}",
            f"{plain} mg",
            f"{plain} kg",
            f"{(meant / 1000).normalize():f} kg",
            shifted,
            shifted.replace(".", ","),
            f"{shifted} g",
            f"{shifted} mg",
        ]
    )


def outcome(band: LineBand, text: str, meant: Decimal) -> str:
    """What becomes of a weight that is typed once."""
    try:
        typed = typed_weight(text)
    except UnclearWeight:
        return "refused"
    if unit_wanted(band, typed.grams, typed.unit):
        return "refused"
    if question_about(band, typed.grams):
        return "asked twice"
    ratio = typed.grams / meant
    return "recorded" if Decimal("0.5") < ratio < 2 else f"recorded {ratio:.3g} times what was meant: {text}"


def test_no_trap_is_recorded_many_times_wrong() -> None:
    dice = Random(20)
    met: Counter[str] = Counter()
    for _ in range(TRAPS):
        target = Decimal(dice.randint(20, 90_000)).scaleb(-3) * dice.choice([1, 1, 10])
        width = (target * TOLERANCE).quantize(Decimal("0.000001"))
        before = dice.choice([Decimal(0), (target * Decimal(dice.randint(1, 80)) / 100).quantize(STEP)])
        band = LineBand(target, target - width, target + width, before)
        meant = target - before
        met[outcome(band, written(dice, meant), meant)] += 1
    assert set(met) == {"recorded", "asked twice", "refused"}, met
