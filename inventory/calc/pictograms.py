"""Which hazard pictograms a set of hazard statements calls for, and what each is called in plain words.

The symbols belong to hazard classes (Regulation (EC) No 1272/2008, Annex V); where one symbol says more than another
about the same danger, the lesser is left out (the same, Article 26). A symbol without its word is read by few, so the
words always stand beside it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from inventory.calc.codes import base_code

PICTOGRAMS_SOURCE = "Regulation (EC) No 1272/2008 (CLP), Annex V and Article 26"


@dataclass(frozen=True, slots=True)
class Pictogram:
    """A symbol: its code and its word."""

    code: str
    word: str


_WORDS = {
    "GHS01": "explosive",
    "GHS02": "flammable",
    "GHS03": "feeds fire",
    "GHS04": "under pressure",
    "GHS05": "corrosive",
    "GHS06": "toxic",
    "GHS07": "irritant",
    "GHS08": "harms health",
    "GHS09": "harms waters",
}
_SENSITISING = "may cause allergy"
_SKIN_AND_EYES = frozenset({"H315", "H319"})
_BY_STATEMENT = {
    **dict.fromkeys(("H200", "H201", "H202", "H203", "H204", "H240"), ("GHS01",)),
    "H241": ("GHS01", "GHS02"),
    **dict.fromkeys(
        ("H220", "H222", "H223", "H224", "H225", "H226", "H228", "H242", "H250", "H251", "H252"), ("GHS02",)
    ),
    **dict.fromkeys(("H260", "H261"), ("GHS02",)),
    **dict.fromkeys(("H270", "H271", "H272"), ("GHS03",)),
    **dict.fromkeys(("H280", "H281"), ("GHS04",)),
    **dict.fromkeys(("H290", "H314", "H318"), ("GHS05",)),
    **dict.fromkeys(("H300", "H301", "H310", "H311", "H330", "H331"), ("GHS06",)),
    **dict.fromkeys(
        ("H302", "H312", "H332", "H315", "H317", "H319", "H335", "H336", "H420"), ("GHS07",)
    ),
    **dict.fromkeys(
        (
            "H304", "H334", "H340", "H341", "H350", "H351", "H360", "H361", "H370", "H371", "H372", "H373",
        ),
        ("GHS08",),
    ),
    **dict.fromkeys(("H400", "H410", "H411"), ("GHS09",)),
}  # fmt: skip


def pictograms_of(codes: Iterable[str]) -> tuple[Pictogram, ...]:
    """The symbols for these hazard statement codes, in the order of their codes; unlisted codes have none."""
    bare = {base_code(code) for code in codes}
    found = {symbol for code in bare for symbol in _BY_STATEMENT.get(code, ())}
    harmful = {code for code in bare if _BY_STATEMENT.get(code) == ("GHS07",)}
    # Article 26 (1) (b) to (d): the skull, the corrosion and the respiratory sensitiser each silence part of the
    # exclamation mark; it stays when something else calls for it.
    if "GHS06" in found:
        harmful.clear()
    if "GHS05" in found:
        harmful -= _SKIN_AND_EYES
    if "H334" in bare:
        harmful -= {*_SKIN_AND_EYES, "H317"}
    if not harmful:
        found.discard("GHS07")
    return tuple(Pictogram(symbol, _word(symbol, harmful)) for symbol in sorted(found))


def _word(symbol: str, harmful: set[str]) -> str:
    if symbol != "GHS07" or "H317" not in harmful:
        return _WORDS[symbol]
    return _SENSITISING if harmful == {"H317"} else f"{_WORDS[symbol]}, {_SENSITISING}"
