"""Answering in a panel, declaring a look at its result before it is finished, and ending it early.

All three lock the panel's row and nothing else. The last planned answer closes the panel.
"""

from datetime import datetime

from batches.models import Panel, PanelAnswer, PanelLook, PanelServing, PanelSitter
from studio.actions.history import record
from studio.kernel.errors import Conflict, Faults, Forbidden, Invalid
from studio.kernel.work import work
from studio.models import Member


class PanelClosed(Conflict):
    """The panel has all its answers, or was ended."""

    code = "panel-closed"
    title = "The panel is closed"


class NotSitting(Forbidden):
    """Only those who were named for it answer in a panel."""

    code = "not-sitting"
    title = "You do not sit in this panel"


class ServingAnswered(Conflict):
    """The tray was answered before, and otherwise."""

    code = "serving-answered"
    title = "Answered already"


class WeakerFirst(Conflict):
    """In a trial of one nose the trays are taken from the weakest on."""

    code = "weaker-first"
    title = "Weaker trays come first"


class BadAnswer(Invalid):
    """An answer that names no tray of the panel, or no number on the tray."""

    code = "bad-answer"
    title = "This is no answer to that tray"


class LooksFromWithin(Forbidden):
    """Who sits in a panel does not look at its result before it is closed."""

    code = "looks-from-within"
    title = "Those who sit do not look"


class NothingToLookAt(Conflict):
    """There is no answer yet, or none since the last look."""

    code = "nothing-to-look-at"
    title = "Nothing new to look at"


class NotYourPanel(Forbidden):
    """Only who set a panel up ends it early."""

    code = "not-your-panel"
    title = "Set up by somebody else"


def answer_serving(*, by: Member, now: datetime, panel_id: int, serving: int, code: int) -> PanelAnswer:
    """Answer a tray once, by the blind number of the sample that is chosen; the same again finds what was said.

    Raises `NotSitting`, `PanelClosed`, `BadAnswer`, `ServingAnswered`, `WeakerFirst`.
    """
    with work():
        panel = _locked(by, panel_id)
        if not PanelSitter.objects.filter(panel=panel, member=by).exists():
            raise NotSitting(f"You are not among those who sit in “{panel.title}”.")
        tray = PanelServing.objects.filter(panel=panel, number=serving).select_related("answer").first()
        if tray is None:
            sentence = f"“{panel.title}” has no tray {serving}; its trays are 1 to {panel.planned}."
            raise BadAnswer(sentence, errors={"serving": [sentence]})
        chosen = _place(tray, code)
        said: PanelAnswer | None = getattr(tray, "answer", None)
        if said is not None:
            return _same(said, by, chosen, serving)
        _refuse_closed(panel)
        _refuse_stronger(panel, serving)
        said = PanelAnswer.objects.create(
            studio_id=by.studio_id, panel=panel, serving=tray, chosen=chosen, by=by, at=now
        )
        panel.answered += 1
        if panel.answered == panel.planned:
            panel.closed_at = now
            record(by=by, at=now, subject="panel", name=str(panel.pk), verb="closed by its last answer")
        panel.save(update_fields=["answered", "closed_at"])
    return said


def look_at_panel(*, by: Member, now: datetime, panel_id: int, why: str) -> PanelLook:
    """Declare a look at the result so far; it stands on every result from then on.

    Raises `LooksFromWithin`, `PanelClosed`, `NothingToLookAt`.
    """
    with work():
        panel = _locked(by, panel_id)
        _refuse_closed(panel)
        if PanelSitter.objects.filter(panel=panel, member=by).exists():
            raise LooksFromWithin("You sit in this panel; its result is shown to you when it is closed.")
        last = PanelLook.objects.filter(panel=panel).order_by("-id").first()
        if panel.answered == (last.answers if last else 0):
            raise NothingToLookAt("There is no answer yet that nobody looked at; wait for the next.")
        _need_why(why)
        look: PanelLook = PanelLook.objects.create(
            studio_id=by.studio_id, panel=panel, answers=panel.answered, why=why, by=by, at=now
        )
        _note(by, now, panel, "looked at before it was finished", why)
    return look


def end_panel(*, by: Member, now: datetime, panel_id: int, why: str) -> Panel:
    """End a panel before its planned number; its result says so. Raises `NotYourPanel`, `PanelClosed`."""
    with work():
        panel = _locked(by, panel_id)
        if panel.by_id != by.pk:
            raise NotYourPanel(f"{panel.by} set this panel up; only they end it before its time.")
        _refuse_closed(panel)
        _need_why(why)
        panel.closed_at, panel.ended_by, panel.ended_why = now, by, why
        panel.save(update_fields=["closed_at", "ended_by", "ended_why"])
        _note(by, now, panel, "ended before it was finished", why)
    return panel


def _locked(by: Member, panel_id: int) -> Panel:
    rows = Panel.objects.select_for_update(no_key=True, of=("self",)).select_related("by__person")
    panel: Panel = rows.one(by.studio_id, "panel", id=panel_id)
    return panel


def _refuse_closed(panel: Panel) -> None:
    if not panel.is_open:
        raise PanelClosed(f"“{panel.title}” was closed after {panel.answered} of {panel.planned} answers.")


def _refuse_stronger(panel: Panel, serving: int) -> None:
    """A nose that has smelled the stronger is tired for the weaker."""
    if panel.material_id and serving != panel.answered + 1:
        raise WeakerFirst(f"The trays go from weak to strong: take tray {panel.answered + 1} next.")


def _place(tray: PanelServing, code: int) -> int:
    if code in tray.codes:
        return tray.codes.index(code)
    numbers = ", ".join(str(one) for one in tray.codes if one is not None)
    sentence = f"Tray {tray.number} bears {numbers}, not {code}; look again at both."
    raise BadAnswer(sentence, errors={"code": [sentence]})


def _same(said: PanelAnswer, by: Member, chosen: int, serving: int) -> PanelAnswer:
    if said.by_id == by.pk and said.chosen == chosen:
        return said
    raise ServingAnswered(f"Tray {serving} was answered before; an answer stays. Take another tray.")


def _need_why(why: str) -> None:
    faults = Faults()
    if not why.strip():
        faults.add("why", "Say why; it stands on the result.")
    faults.refuse_if_any()


def _note(by: Member, now: datetime, panel: Panel, verb: str, why: str) -> None:
    changes = {"answers": [panel.planned, panel.answered]}
    record(by=by, at=now, subject="panel", name=str(panel.pk), verb=verb, changes=changes, why=why)
