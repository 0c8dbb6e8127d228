"""Cautions as papers print them: each statement once, with which of several lots give reason for it."""

from collections.abc import Iterable
from dataclasses import dataclass

from inventory.calc.cautions import CautionReport


@dataclass(frozen=True, slots=True)
class PaperCaution:
    """A hazard statement with what to do; `places` names the lines of a batch it belongs to, "" for one lot."""

    code: str
    text: str
    caution: str
    places: str


@dataclass(frozen=True, slots=True)
class PaperCautions:
    """All statements in the order of their codes, and the words that stand beside them always."""

    cautions: tuple[PaperCaution, ...]
    flash_point_note: str
    words: str


def gathered_cautions(reports: Iterable[tuple[str, CautionReport]]) -> PaperCautions:
    """The cautions of several lots as one list; each report comes with the place it belongs to."""
    found: dict[str, PaperCaution] = {}
    note = words = ""
    for place, report in reports:
        words = report.words
        note = note or report.flash_point_note
        for one in report.cautions:
            before = found.get(one.code)
            places = ", ".join(filter(None, [before.places if before else "", place]))
            found[one.code] = PaperCaution(one.code, one.text, one.caution, places)
    order = sorted(found, key=lambda code: (code.startswith("EUH"), code))
    return PaperCautions(tuple(found[code] for code in order), note, words)
