"""Registry numbers and hazard statement codes: whether they are well formed, and what they say.

A CAS number proves itself by its check digit (through python-stdnum). A hazard statement code is only
checked for its shape, because the lists grow by amendment; for the codes that are common in a scent studio
the statement itself and a caution in plain words are kept here. `DEFERRING_WORDS` stands beside every
caution, limit and allergen the service shows.
"""

import re
from dataclasses import dataclass

from stdnum import casrn
from stdnum.exceptions import InvalidChecksum, ValidationError

from studio.kernel.errors import Invalid

DEFERRING_WORDS = "This is arithmetic on the data entered, not a safety assessment; local rules and a qualified assessor decide."
STATEMENTS_SOURCE = "Regulation (EC) No 1272/2008 (CLP), Annex III"
_LONGEST_TEXT = 200
_HAZARD_CODE = re.compile(r"H2\d\d|H3\d\d|H4\d\d|H350i|H360(?:F|D|FD|Fd|Df)|H361(?:f|d|fd)|EUH\d{3}A?")


class CasNumberShape(Invalid):
    """A text that is no CAS number: wrong groups of digits, or a leading zero."""

    code = "cas-number-shape"
    title = "Not a CAS number"


class CasCheckDigit(Invalid):
    """A CAS number whose check digit does not fit: one digit is mistyped, or two are swapped."""

    code = "cas-check-digit"
    title = "Mistyped CAS number"


class HazardCodeShape(Invalid):
    """A text that is no hazard statement code."""

    code = "hazard-code-shape"
    title = "Not a hazard statement code"


@dataclass(frozen=True, slots=True)
class HazardStatement:
    """A hazard statement: its code, its regulatory text, and what to do about it in plain words.

    `text` and `source` are those of CLP Annex III; both are empty for a code not listed here.
    """

    code: str
    text: str
    caution: str
    source: str


def parse_cas(text: str) -> str:
    """The CAS number `text` stands for, written with hyphens (`64-17-5`).

    Two to seven digits not starting with 0, two digits, and the check digit: the sum of every digit times
    its place counted from the right, modulo 10 (cas.org). Raises `CasNumberShape` or `CasCheckDigit`.
    """
    try:
        return str(casrn.validate(text[:_LONGEST_TEXT]))
    except InvalidChecksum:
        number = casrn.compact(text)
        fitting = casrn.calc_check_digit(number[:-1])
        raise CasCheckDigit(
            f"{number} is mistyped: with these digits the last one would be {fitting}, not {number[-1]}. "
            f"Read it again from the bottle.",
            given=number,
        ) from None
    except ValidationError:
        raise CasNumberShape(
            f"“{text[:40]}” is not a CAS number; one is two to seven digits, two digits and one digit, like 64-17-5."
        ) from None


def parse_hazard_code(text: str) -> str:
    """One hazard statement code in its written form (`H225`, `H361fd`, `EUH208`); the suffix keeps its case.

    Raises `HazardCodeShape`. A well-formed code that is not in any list passes: lists are amended.
    """
    bare = re.sub(r"\s+", "", text[:_LONGEST_TEXT])
    match = re.fullmatch(r"(euh|h)(\d{3})([a-z]{0,2})", bare, flags=re.IGNORECASE)
    suffix = "" if match is None else match[3]
    code = bare if match is None else f"{match[1].upper()}{match[2]}{'A' if suffix == 'a' else suffix}"
    if _HAZARD_CODE.fullmatch(code) is None:
        raise HazardCodeShape(
            f"“{text[:40]}” is not a hazard statement code; one looks like H225, H361d, EUH066 or EUH208."
        )
    return code


def parse_hazard_codes(text: str) -> tuple[str, ...]:
    """All codes of a text such as `H225, H319; H302+H312`, each once, in the order written.

    Codes are parted by commas, semicolons, plus signs or spaces. Raises one `HazardCodeShape` that names
    every word that is no code; an empty text is no codes.
    """
    words = [word for word in re.split(r"[,;+\s]+", text) if word]
    codes: dict[str, None] = {}
    faults = []
    for word in words:
        try:
            codes[parse_hazard_code(word)] = None
        except HazardCodeShape as fault:
            faults.append(fault.message)
    if faults:
        raise HazardCodeShape(" ".join(faults), errors={"hazard_codes": faults})
    return tuple(codes)


def base_code(code: str) -> str:
    """A code without its lettered suffix: H360FD and H360 have one rule, EUH209A is not EUH209."""
    return code[:4] if code.startswith("H") else code


def hazard_statement(code: str) -> HazardStatement:
    """What is known of a well-formed code; for one not listed, the advice to read the supplier's paper."""
    known = STATEMENTS.get(code) or STATEMENTS.get(base_code(code))
    if known is None:
        return HazardStatement(code, "", "Read what this code means on the supplier's safety data sheet.", "")
    text, caution = known
    return HazardStatement(code, text, caution, STATEMENTS_SOURCE)


_NO_FLAME = "Keep away from flames, sparks and hot plates, close it after use, and pour where air moves."
_GLOVES = "Wear gloves, and wash off at once what gets on the skin."
_ASSESSED = (
    "Handle it only as the supplier's safety data sheet says and as whoever assesses the work has agreed."
)
_WATER = "Do not pour it down the sink; collect leftovers and wipes for disposal."
_DO_NOT_EAT = "Do not eat, drink or pipette by mouth where it is handled."
_VENTILATE = "Work where the air is drawn off and do not breathe in over the open vessel."

STATEMENTS: dict[str, tuple[str, str]] = {
    "H224": ("Extremely flammable liquid and vapour.", _NO_FLAME),
    "H225": ("Highly flammable liquid and vapour.", _NO_FLAME),
    "H226": ("Flammable liquid and vapour.", _NO_FLAME),
    "H228": ("Flammable solid.", _NO_FLAME),
    "H290": (
        "May be corrosive to metals.",
        "Keep it in glass or plastic, off the balance pan and metal tools.",
    ),
    "H300": ("Fatal if swallowed.", _ASSESSED),
    "H301": ("Toxic if swallowed.", _DO_NOT_EAT),
    "H302": ("Harmful if swallowed.", _DO_NOT_EAT),
    "H304": (
        "May be fatal if swallowed and enters airways.",
        "Never pipette by mouth; if swallowed do not bring on vomiting, call for medical help.",
    ),
    "H310": ("Fatal in contact with skin.", _ASSESSED),
    "H311": ("Toxic in contact with skin.", _GLOVES),
    "H312": ("Harmful in contact with skin.", _GLOVES),
    "H314": (
        "Causes severe skin burns and eye damage.",
        "Wear gloves and goggles; rinse any splash for many minutes.",
    ),
    "H315": ("Causes skin irritation.", _GLOVES),
    "H317": (
        "May cause an allergic skin reaction.",
        "Wear gloves; an allergy once gained stays, so do not smell it from the skin.",
    ),
    "H318": ("Causes serious eye damage.", "Wear goggles; rinse a splash in the eye at once and get help."),
    "H319": (
        "Causes serious eye irritation.",
        "Wear eye protection; rinse a splash in the eye with plenty of water.",
    ),
    "H330": ("Fatal if inhaled.", _ASSESSED),
    "H331": ("Toxic if inhaled.", _VENTILATE),
    "H332": ("Harmful if inhaled.", _VENTILATE),
    "H334": ("May cause allergy or asthma symptoms or breathing difficulties if inhaled.", _VENTILATE),
    "H335": ("May cause respiratory irritation.", _VENTILATE),
    "H336": ("May cause drowsiness or dizziness.", _VENTILATE),
    "H340": ("May cause genetic defects.", _ASSESSED),
    "H341": ("Suspected of causing genetic defects.", _ASSESSED),
    "H350": ("May cause cancer.", _ASSESSED),
    "H350i": ("May cause cancer by inhalation.", _ASSESSED),
    "H351": ("Suspected of causing cancer.", _ASSESSED),
    "H360": ("May damage fertility or the unborn child.", _ASSESSED),
    "H360F": ("May damage fertility.", _ASSESSED),
    "H360D": ("May damage the unborn child.", _ASSESSED),
    "H360FD": ("May damage fertility. May damage the unborn child.", _ASSESSED),
    "H360Fd": ("May damage fertility. Suspected of damaging the unborn child.", _ASSESSED),
    "H360Df": ("May damage the unborn child. Suspected of damaging fertility.", _ASSESSED),
    "H361": ("Suspected of damaging fertility or the unborn child.", _ASSESSED),
    "H361f": ("Suspected of damaging fertility.", _ASSESSED),
    "H361d": ("Suspected of damaging the unborn child.", _ASSESSED),
    "H361fd": ("Suspected of damaging fertility. Suspected of damaging the unborn child.", _ASSESSED),
    "H362": ("May cause harm to breast-fed children.", _ASSESSED),
    "H370": ("Causes damage to organs.", _ASSESSED),
    "H371": ("May cause damage to organs.", _ASSESSED),
    "H372": ("Causes damage to organs through prolonged or repeated exposure.", _ASSESSED),
    "H373": ("May cause damage to organs through prolonged or repeated exposure.", _ASSESSED),
    "H400": ("Very toxic to aquatic life.", _WATER),
    "H410": ("Very toxic to aquatic life with long lasting effects.", _WATER),
    "H411": ("Toxic to aquatic life with long lasting effects.", _WATER),
    "H412": ("Harmful to aquatic life with long lasting effects.", _WATER),
    "H413": ("May cause long lasting harmful effects to aquatic life.", _WATER),
    "EUH066": ("Repeated exposure may cause skin dryness or cracking.", _GLOVES),
    "EUH208": (
        "Contains (name of sensitising substance). May produce an allergic reaction.",
        "Whoever is already allergic to what is named should not handle or smell it.",
    ),
    "EUH210": (
        "Safety data sheet available on request.",
        "Ask the supplier for the safety data sheet and keep it.",
    ),
}
"""Code → (regulatory statement, caution in our words). The statement text is that of CLP Annex III."""
