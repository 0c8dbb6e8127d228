"""What a typed weight and a line from a balance say, in exact grams, and when they say it too unclearly to be kept.

A slip that makes a weight ten or a thousand times wrong must stop here. A number without a unit is grams. A point is a
decimal point. One comma is a decimal comma, unless exactly three digits follow a number that could be thousands
(“2,500” is two and a half or two thousand five hundred): that is refused, not guessed. So are units that could be two
things, and numbers with a point lost after a leading zero. A balance prints no thousands, so in its line a comma is a
decimal comma; but a line must say exactly one number, its unit, and nothing that is not understood.
`batches/static/batches/bench/readings.js` follows the same rules in the same words, for the answer before sending.
"""

import re
from dataclasses import dataclass
from decimal import Decimal, localcontext

from studio.kernel.errors import Invalid
from studio.kernel.mass import LARGEST_MASS, MICROGRAM

LONGEST_TEXT = 40
LONGEST_LINE = 80
GRAMS_IN = {"kg": Decimal(1000), "g": Decimal(1), "mg": Decimal("0.001"), "µg": Decimal("0.000001")}
"""The units that are understood, with what one of them is in grams (SI)."""

_SPELLED = {
    "": "g",
    **dict.fromkeys(("g", "G", "gram", "grams"), "g"),
    **dict.fromkeys(("mg", "milligram", "milligrams"), "mg"),
    **dict.fromkeys(("kg", "Kg", "KG", "kilogram", "kilograms"), "kg"),
    **dict.fromkeys(("µg", "μg", "ug", "mcg", "microgram", "micrograms"), "µg"),
}
_SPACES = "\u00a0\u2007\u2009\u202f\t"
_TYPED = re.compile(r"([+\-−]?) *([0-9.,]+) *([A-Za-zµμ]*)")
_NUMBER_IN_LINE = re.compile(r"(?:([+\-−]) *)?([0-9](?:[0-9.,]*[0-9])?)")
_BEFORE_NUMBER = re.compile(r"|.*[ :;=]|.*[A-Za-z],", re.DOTALL)
_STEADY = {"S", "ST", "STABLE", "N", "NT", "NET"}
_MOVING = {"D", "SD", "U", "US", "UNSTABLE", "?", "~"}
_SAYS_STABLE = {"S", "ST", "STABLE"}


class UnclearWeight(Invalid):
    """A typed text that is no weight, or could be two; nothing was recorded."""

    code = "unclear-weight"
    title = "Not a clear weight"


class UnfitReading(Invalid):
    """A line from a balance that is no weight to keep: moving, negative, in another unit, or not understood."""

    code = "unfit-reading"
    title = "Not a reading to keep"


@dataclass(frozen=True, slots=True)
class TypedWeight:
    """A typed weight: exact grams, and the unit it was given in, "" when it was a number alone."""

    grams: Decimal
    unit: str


@dataclass(frozen=True, slots=True)
class BalanceReading:
    """What one line of a balance says.

    `number` is signed and in `unit` as it is printed; `grams` is None when that is no unit of mass. `stable` is None
    when the line has no mark of it. `foreign` are words that are not understood, such as one for gross weight.
    """

    number: Decimal
    unit: str
    grams: Decimal | None
    stable: bool | None
    foreign: tuple[str, ...]


def typed_weight(text: str) -> TypedWeight:
    """The weight a person typed, above zero and on the microgram grid; raises `UnclearWeight`."""
    plain = _with_plain_spaces(text)
    if not plain:
        raise UnclearWeight("Type the weight, such as 2.5 or 2500 mg.")
    match = _TYPED.fullmatch(plain) if len(plain) <= LONGEST_TEXT else None
    if match is None:
        raise UnclearWeight(
            f"“{plain[:LONGEST_TEXT]}” is not one number with a unit; write it like 2.5 or 2500 mg."
        )
    sign, digits, spelled = match.groups()
    unit = _unit(spelled)
    number = Decimal(_plain_number(digits))
    grams = _exactly(number, unit)
    if sign in ("-", "−"):
        raise UnclearWeight("A weight below zero is not recorded; set the balance to zero and weigh again.")
    if grams == 0:
        raise UnclearWeight("Nothing was weighed: this is zero.")
    if _finer_than_the_grid(grams):
        raise UnclearWeight(f"{digits} {unit} is finer than a microgram (0.000001 g).")
    if grams > LARGEST_MASS:
        raise UnclearWeight(f"{digits} {unit} is more than a tonne.")
    return TypedWeight(grams=grams.quantize(MICROGRAM), unit=unit if spelled else "")


def balance_reading(line: str) -> BalanceReading | None:
    """What a line from a balance says, None when there is not exactly one number in it."""
    plain = _with_plain_spaces(line)
    numbers = list(_NUMBER_IN_LINE.finditer(plain)) if len(plain) <= LONGEST_LINE else []
    if len(numbers) != 1:
        return None
    sign, digits = numbers[0].groups()
    before, after = plain[: numbers[0].start()], plain[numbers[0].end() :]
    standing = _BEFORE_NUMBER.fullmatch(before) or (sign and before[-1:].isalpha())
    if not standing or not re.fullmatch(r"[0-9]+([.,][0-9]+)?", digits) or after[:1] in (".", ","):
        return None
    number = Decimal(digits.replace(",", ".")) * (-1 if sign in ("-", "−") else 1)
    unit = re.match(r" *([A-Za-zµμ%/]*)", after)[1]  # type: ignore[index]
    rest = after.removeprefix(" " * (len(after) - len(after.lstrip(" ")))).removeprefix(unit)
    words = [word for word in re.split(r"[ ,;:=]+", f"{before} {rest}".upper()) if word]
    known = _SPELLED.get(unit) if unit else None
    return BalanceReading(
        number=number,
        unit=unit,
        grams=None if known is None else _exactly(number, known),
        stable=_stability(words),
        foreign=tuple(word for word in words if word not in _STEADY | _MOVING),
    )


def reading_to_keep(line: str) -> Decimal:
    """The grams of a line from a balance that may be recorded; raises `UnfitReading` with why it may not."""
    reading = balance_reading(line)
    if reading is None:
        raise UnfitReading(f"There is not one number in “{_with_plain_spaces(line)[:LONGEST_LINE]}”.")
    obstacle = why_not_kept(reading)
    if obstacle or reading.grams is None:
        raise UnfitReading(obstacle)
    return reading.grams.quantize(MICROGRAM)


def why_not_kept(reading: BalanceReading) -> str:
    """Why a reading is shown and not recorded, "" when it may be."""
    if reading.foreign:
        return f"The balance says “{' '.join(reading.foreign)}”, which is not understood; it is not recorded."
    if reading.stable is False:
        return "The reading is still moving; it is not recorded."
    if not reading.unit:
        return "The reading has no unit; it is not recorded."
    if reading.grams is None:
        return f"The balance weighs in “{reading.unit}”; set it to grams. It is not recorded."
    if reading.grams < 0:
        return "The reading is below zero; it is not recorded."
    if reading.grams == 0:
        return "The reading is zero; there is nothing to record."
    if _finer_than_the_grid(reading.grams):
        return "The reading is finer than a microgram (0.000001 g); it is not recorded."
    if reading.grams > LARGEST_MASS:
        return "The reading is more than a tonne; it is not recorded."
    return ""


def _exactly(number: Decimal, unit: str) -> Decimal:
    """Grams of a number in a unit, with every digit: the usual 28 would round a long text silently."""
    with localcontext(prec=2 * LONGEST_LINE):
        return number * GRAMS_IN[unit]


def _finer_than_the_grid(grams: Decimal) -> bool:
    with localcontext(prec=2 * LONGEST_LINE):
        return grams % MICROGRAM != 0


def _with_plain_spaces(text: str) -> str:
    for space in _SPACES:
        text = text.replace(space, " ")
    return text.strip(" \r\n")


def _unit(spelled: str) -> str:
    unit = _SPELLED.get(spelled)
    if unit is not None:
        return unit
    if spelled.lower() == "mg":
        raise UnclearWeight(
            f"“{spelled}” may be milligrams or a thousand kilograms; write mg in small letters."
        )
    raise UnclearWeight(f"“{spelled}” is no unit of mass that is used here; write g, mg, µg or kg.")


def _plain_number(digits: str) -> str:
    """A number as typed, with a point for the decimals and no thousands; raises `UnclearWeight`."""
    marks = [place for place, letter in enumerate(digits) if letter in ".,"]
    if len(marks) == len(digits):
        raise UnclearWeight(f"There is no number in “{digits}”.")
    if digits[-1] in ".,":
        raise UnclearWeight(f"“{digits}” ends in a “{digits[-1]}”; the digits after it are missing.")
    whole, decimals = _parted(digits, marks)
    if len(whole) > 1 and whole[0] == "0":
        raise UnclearWeight(
            f"“{digits}” begins with a 0 and no point after it; one may be missing. Type it anew."
        )
    return f"{whole or '0'}.{decimals or '0'}"


def _parted(digits: str, marks: list[int]) -> tuple[str, str]:
    """Whole digits and decimals, the thousands taken together."""
    if not marks:
        return digits, ""
    kinds = {digits[place] for place in marks}
    last = marks[-1]
    if len(marks) > 1 and len(kinds) == 1:
        _refuse_no_thousands(digits, digits)
        return re.sub(r"[.,]", "", digits), ""
    whole, decimals = digits[:last], digits[last + 1 :]
    if len(marks) > 1:
        if any(digits[place] == digits[last] for place in marks[:-1]):
            raise UnclearWeight(f"“{digits}” has points and commas that do not fit together.")
        _refuse_no_thousands(digits, whole)
        return re.sub(r"[.,]", "", whole), decimals
    if digits[last] == "," and len(decimals) == 3 and re.fullmatch(r"[1-9][0-9]{0,2}", whole):
        raise UnclearWeight(
            f"“{digits}” may be {whole}.{decimals} or {whole}{decimals}. "
            f"Write {whole}.{decimals} with a point, or {whole}{decimals} without a comma."
        )
    return whole, decimals


def _refuse_no_thousands(digits: str, whole: str) -> None:
    groups = re.split(r"[.,]", whole)
    fits = re.fullmatch(r"[1-9][0-9]{0,2}", groups[0]) and all(len(group) == 3 for group in groups[1:])
    if not fits:
        raise UnclearWeight(f"“{digits}” has points and commas that do not fit together.")


def _stability(words: list[str]) -> bool | None:
    if any(word in _MOVING for word in words):
        return False
    return True if any(word in _SAYS_STABLE for word in words) else None
