"""What the people of the demo studio smelled: strips with their notes, and vials under codes."""

from datetime import timedelta

from batches.actions.blind_smelling import set_up_blind
from batches.actions.smelling import Said, UnderCode, dip, end_strip, note_smelling
from batches.demo.days import Days
from batches.demo.named import Named
from batches.demo.sheets import Told, number
from batches.models import IntensityScale, Strip
from studio.models import Member


def smell(told: Told, named: Named, days: Days) -> None:
    """Dip into a vial, note what is told, throw the strip away."""
    by = named.members[told["by"]]
    dipped_at = days.work(5)
    minutes = [note["after"] for note in told["notes"]]
    strip = dip(by=by, now=dipped_at, into=named.vials[told["vial"]], remind_minutes=minutes)
    _note_and_end(by, strip, told)


def smell_blind(told: Told, named: Named, days: Days) -> None:
    """Put vials under codes, and let others smell them; the set is not revealed."""
    by = named.members[told["by"]]
    vials = [named.vials[title] for title in told["vials"]]
    blind = set_up_blind(by=by, now=days.work(10), title=told["title"], lots=vials)
    codes = {vial.lot_id: vial.code for vial in blind.vials.order_by("code", "id")}
    for place, strip_told in enumerate(told["strips"]):
        nose = named.members[strip_told["by"]]
        under = UnderCode(set_id=blind.pk, code=codes[vials[place].pk])
        _note_and_end(nose, dip(by=nose, now=days.work(10), into=under), strip_told)


def _note_and_end(by: Member, strip: Strip, told: Told) -> None:
    for note in told["notes"]:
        at = strip.dipped_at + timedelta(minutes=note["after"])
        said = Said(
            intensity=number(note.get("intensity")),
            scale=IntensityScale(note.get("scale", IntensityScale.PLAIN)),
            liking=note.get("liking"),
            words=note.get("words", []),
            text=note.get("text", ""),
            colour=note.get("colour", ""),
            picture=note.get("picture", ""),
        )
        note_smelling(by=by, now=at, on=strip.pk, said=said)
    end_strip(by=by, now=at + timedelta(minutes=1), strip_id=strip.pk)
