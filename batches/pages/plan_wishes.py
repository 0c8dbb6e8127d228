"""What is wished of a weigh plan on its page: lots chosen for lines, or the grams of every pour written by hand."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.http import QueryDict

from batches.actions.weigh_plans import LotPin, Wishes, WrittenPour
from batches.queries.planned import OtherLot, PlannedLine
from studio.kernel.errors import Faults, Invalid
from studio.kernel.mass import BadNumber, positive_mass
from studio.kernel.numbers import BadNumberText, parse
from studio.pages.tags import plain

LONGEST_REASON = 1000


@dataclass(frozen=True, slots=True)
class GramsField:
    """The field for the grams of one lot for one line, as it is shown: `text` is typed, or what is planned."""

    name: str
    lot: OtherLot
    text: str


def grams_fields(line: PlannedLine, typed: Mapping[str, str] | None) -> list[GramsField]:
    """A field for each lot that a line could be poured from, filled with `typed` or else with what is planned."""
    planned = {pour.line.lot.number: plain(pour.line.target) for pour in line.pours}
    names = [(f"grams-{line.written.key}-{other.lot.number}", other) for other in line.lots]
    return [
        GramsField(
            name, other, planned.get(other.lot.number, "") if typed is None else str(typed.get(name, ""))
        )
        for name, other in names
    ]


def chosen_lots(sent: QueryDict) -> Wishes:
    """The lots chosen for lines, and the reason for those of them that are past their day."""
    pins = {}
    past_their_day = []
    for line, name in _lines(sent, "lot-"):
        text, _, expired = str(sent[name]).partition(" ")
        lot = _lot_number(text)
        pins[line] = [LotPin(lot)]
        if expired:
            past_their_day.append(lot)
    return Wishes(pins=pins, allowed=_allowed(past_their_day, sent))


def written_pours(sent: QueryDict, past_their_day: Sequence[str]) -> Wishes:
    """Every pour as written by hand; raises `Invalid` naming each field that holds no mass."""
    pours = []
    faults = Faults()
    for line, name in _lines(sent, "grams-"):
        lot = _lot_number(name.partition("-")[2].partition("-")[2])
        try:
            pours.append(WrittenPour(line, lot, positive_mass(str(sent[name]).strip(), f"the mass of {lot}")))
        except BadNumber as fault:
            faults.add(name, fault.message)
    faults.refuse_if_any()
    if not pours:
        raise Invalid("Write the grams of at least one lot, or let the plan be made.")
    used = [pour.lot for pour in pours if pour.lot in past_their_day]
    return Wishes(pours=pours, allowed=_allowed(used, sent), knowingly=sent.get("knowingly") == "yes")


def _lines(sent: QueryDict, prefix: str) -> Iterator[tuple[int, str]]:
    """The lines that fields of this prefix which hold something are of, with the name of each."""
    for name, value in sent.items():
        line = name.removeprefix(prefix).partition("-")[0]
        if (
            name.startswith(prefix)
            and line.isascii()
            and line.isdigit()
            and len(line) < 6
            and str(value).strip()
        ):
            yield int(line), name


def _allowed(lots: Sequence[str], sent: QueryDict) -> dict[str, str]:
    why = " ".join(sent.get("expired_reason", "").split())[:LONGEST_REASON]
    return dict.fromkeys(lots, why) if why else {}


def _lot_number(text: str) -> str:
    try:
        return parse("lot", text)
    except BadNumberText as fault:
        raise Invalid(fault.message) from None
