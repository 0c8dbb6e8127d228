"""How figures are written inside the sentences that calculations hand back.

A sentence for a person shows no trailing zeros, no exponent and no more digits than matter; the fields
beside the sentence keep the exact values. Rounding here is for reading only and never flows back.
"""

from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Context, Decimal

READ_DIGITS = 4


def figure(number: Decimal) -> str:
    """`number` exactly, as a plain decimal without trailing zeros or exponent."""
    text = f"{number:f}"
    plain = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if plain in {"-0", ""} else plain


def readable(number: Decimal, digits: int = READ_DIGITS) -> str:
    """`number` rounded half-even to `digits` significant digits, because nobody reads more in a sentence."""
    return figure(Context(prec=digits, rounding=ROUND_HALF_EVEN).plus(number))


def percent(fraction: Decimal, digits: int = READ_DIGITS) -> str:
    """A fraction in percent, readable: 0.025 gives "2.5 %"."""
    return f"{readable(fraction * 100, digits)} %"


def listed(words: Sequence[str]) -> str:
    """Words as a list in running text: "a", "a and b", "a, b and c"."""
    if len(words) <= 1:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
