"""What changed: everything that was done in the studio, searched, and the part of it that a thing's own page shows."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_safe

from studio.models import HistoryEntry, Member
from studio.pages.acting import for_members
from studio.pages.answers import is_partial, shown
from studio.pages.fields import Day, Text
from studio.pages.listing import Listing
from studio.queries.history import entries_matching, history_of, history_of_thing

SUBJECTS = (
    "batch",
    "lot",
    "material",
    "formula",
    "shelf",
    "balance",
    "member",
    "key",
    "panel",
    "blind set",
    "smelling word",
    "studio",
)
IN_PART = 20


@dataclass(frozen=True, slots=True)
class Change:
    """One field of an entry: what it was and what it became, in words; `before` is None where nothing is told of it."""

    field: str
    before: str | None
    after: str


@dataclass(frozen=True, slots=True)
class Told:
    """An entry with its changes in words."""

    entry: HistoryEntry
    changes: list[Change]


class HistoryForm(forms.Form):
    """What is looked for."""

    search = Text(longest=120, label="Words", required=False)
    subject = forms.CharField(
        label="Of a", required=False, max_length=20, widget=forms.Select(choices=[("", "anything")])
    )
    name = Text(longest=120, label="Called", required=False)
    since = Day(label="From", required=False)
    before = Day(label="Before", required=False)

    def __init__(self, data: Mapping[str, Any]) -> None:
        super().__init__(data)
        asked = str(data.get("subject", ""))[:20]
        subjects = [*SUBJECTS, *([asked] if asked and asked not in SUBJECTS else [])]
        self.fields["subject"].widget.choices = [("", "anything"), *((one, one) for one in subjects)]


@require_safe
@for_members
def history(request: HttpRequest, member: Member) -> HttpResponse:
    """All entries, newest first, narrowed as one types."""
    form = HistoryForm(request.GET)
    form.is_valid()
    asked = {name: value for name, value in form.cleaned_data.items() if value}
    listing = Listing.of(_found(member, asked), request)
    context = {
        "form": form,
        "listing": listing,
        "told": told(listing.rows),
        "sheet": f"/api/v1/history/?{urlencode({'format': 'csv', **_for_api(asked)})}",
        "narrowed": bool(asked),
    }
    template = "studio/parts/history.html" if is_partial(request) else "studio/history.html"
    return shown(request, template, context)


@require_safe
@for_members
def changes(request: HttpRequest, member: Member) -> HttpResponse:
    """The part that a thing's own page shows: the newest entries about it."""
    subject, name = request.GET.get("subject", "")[:20], request.GET.get("name", "")[:120].replace("\0", "")
    rows = history_of_thing(studio=member.studio, subject=subject.replace("\0", ""), name=name)
    found = list(rows[: IN_PART + 1])
    context = {
        "told": told(found[:IN_PART]),
        "more": len(found) > IN_PART,
        "subject": subject,
        "name": name,
        "whole": f"{reverse('history')}?{urlencode({'subject': subject, 'name': name})}",
    }
    return shown(request, "studio/parts/changes.html", context)


def _found(member: Member, asked: Mapping[str, Any]) -> QuerySet[HistoryEntry]:
    rows = history_of(member.studio)
    for name in ("subject", "name"):
        if name in asked:
            rows = rows.filter(**{name: asked[name]})
    if "since" in asked:
        rows = rows.filter(at__gte=_start(asked["since"]))
    if "before" in asked:
        rows = rows.filter(at__lt=_start(asked["before"]))
    return entries_matching(rows, asked.get("search", "")).order_by("-id")


def _for_api(asked: Mapping[str, Any]) -> dict[str, str]:
    """The same search in the words of the API, for the sheet."""
    days = {
        name: _start(asked[name]).isoformat().replace("+00:00", "Z")
        for name in ("since", "before")
        if name in asked
    }
    return {**{name: str(value) for name, value in asked.items()}, **days}


def _start(day: Any) -> datetime:
    return datetime.combine(day, time.min, UTC)


def told(entries: Iterable[HistoryEntry]) -> list[Told]:
    """Entries with their changes in words."""
    return [
        Told(entry, [_change(field, change) for field, change in entry.changes.items()]) for entry in entries
    ]


def _change(field: str, change: Any) -> Change:
    name = field.replace("_", " ")
    if isinstance(change, list) and len(change) == 2:
        return Change(name, _words(change[0]), _words(change[1]))
    return Change(name, None, _words(change))


def _words(value: Any) -> str:
    match value:
        case None | "":
            return "nothing"
        case bool():
            return "yes" if value else "no"
        case str():
            return value
    return json.dumps(value, ensure_ascii=False)
