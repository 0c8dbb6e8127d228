"""Writing a formula: rows that can be added, moved and taken away, figures that follow, and lines pasted from a sheet.

Everything works by sending the form, and nothing of it is kept before “save”; a script only spares the way to the
server. The live figures never touch a field that is being typed in: they are put beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from batches.actions.formulas import (
    MOST_LINES,
    WrittenLine,
    rewrite_version,
    write_formula,
    write_next_version,
)
from batches.models import Formula, FormulaVersion
from batches.pages.figures import FiguresShown, LineShown, shown_figures
from batches.pages.forms import FormulaForm, VersionForm
from batches.pages.pasted import LONGEST_TEXT, Pasted, read_pasted
from batches.pages.typed_lines import (
    Reader,
    ReadRow,
    TypedRow,
    calc_lines,
    new_row,
    refused,
    rows_of,
    typed_rows,
    while_typing,
)
from batches.queries.formulas import version_of
from batches.queries.written import Recipes, base_recipes, written_figures
from inventory.models import Material, MaterialKind
from inventory.queries.finding import materials_by_name
from studio.kernel.errors import Invalid
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.once import once

BOTH = require_http_methods(["GET", "HEAD", "POST"])
ROWS_TO_BEGIN_WITH = 3
SAVES = ("save", "next")


@dataclass(frozen=True, slots=True)
class EditorRow:
    """A row with its number and what stands beside it."""

    number: int
    read: ReadRow
    figures: LineShown | None


@dataclass(frozen=True, slots=True)
class Desk:
    """What lines are read and reckoned with, fetched once per request."""

    member: Member
    materials: Sequence[Material]
    recipes: Recipes
    reader: Reader

    @classmethod
    def of(cls, member: Member) -> "Desk":
        materials = materials_by_name(member.studio)
        recipes = base_recipes(member.studio)
        return cls(member, materials, recipes, Reader(materials, recipes))

    def read(self, rows: Sequence[TypedRow]) -> list[ReadRow]:
        return [self.reader.read(row) for row in rows]

    def figures(self, read: Sequence[ReadRow]) -> tuple[FiguresShown | None, str]:
        """The figures of the complete lines, or a sentence why there are none."""
        lines = calc_lines(read)
        if not lines:
            return None, "Strength, cost and cautions stand here as soon as a line is complete."
        try:
            found = written_figures(
                studio=self.member.studio, lines=lines, recipes=self.recipes, on=timezone.now().date()
            )
        except Invalid as refusal:
            return None, refusal.message
        return shown_figures(found, lines, self.member.studio.currency), ""

    def context(self, read: Sequence[ReadRow]) -> dict[str, Any]:
        """What the editor and its live part both show."""
        figures, no_figures = self.figures(read)
        beside = figures.lines if figures else {}
        return {
            "rows": [EditorRow(place + 1, one, beside.get(place)) for place, one in enumerate(read)],
            "figures": figures,
            "no_figures": no_figures,
            "incomplete": sum(one.incomplete for one in read),
        }


@BOTH
@for_makers
@once
def new_formula(request: HttpRequest, member: Member) -> HttpResponse:
    """Write a formula."""
    return _edit(request, member, None)


@BOTH
@for_makers
@once
def edit_version(request: HttpRequest, member: Member, code: str, number: int) -> HttpResponse:
    """Write a version anew, or the next one from it."""
    return _edit(request, member, version_of(studio=member.studio, code=code, number=number))


@require_POST
@for_members
def figures(request: HttpRequest, member: Member) -> HttpResponse:
    """The live part of the editor: figures of the lines as they stand, and what stands beside each."""
    desk = Desk.of(member)
    read = while_typing(desk.read(typed_rows(request.POST)), desk.reader.known)
    return shown(request, "batches/parts/live.html", desk.context(read))


@require_POST
@for_members
def pasted(request: HttpRequest, member: Member) -> HttpResponse:
    """The live part under the pasted text: how it is read, and what is wrong with it."""
    desk = Desk.of(member)
    text = request.POST.get("pasted", "")
    return shown(
        request, "batches/parts/pasted.html", {"pasted": read_pasted(text, desk.reader), "text": text}
    )


def _edit(request: HttpRequest, member: Member, version: FormulaVersion | None) -> HttpResponse:
    desk = Desk.of(member)
    doing = request.POST.get("do", "save") if request.method == "POST" else ""
    form = _form(request, version, saving=doing in SAVES)
    rows, paste = _rows(request, desk, version, doing)
    read = desk.read(rows)
    if doing in SAVES:
        kept = _save(request, member, version, form, read, doing)
        if kept is not None:
            return kept
        read = refused(read)
    context = {
        **desk.context(read),
        **_words(version),
        "version": version,
        "materials": desk.materials,
        "solvents": [row for row in desk.materials if row.kind == MaterialKind.SOLVENT],
        "blank": EditorRow(0, ReadRow(TypedRow(key="BLANK")), None),
        "pasted": paste,
        "text": request.POST.get("pasted", "")[:LONGEST_TEXT] if paste else "",
        "done_with": doing not in ("", *SAVES),
    }
    return shown(request, "batches/write.html", context, form)


def _form(request: HttpRequest, version: FormulaVersion | None, *, saving: bool) -> forms.Form:
    kind = FormulaForm if version is None else VersionForm
    if saving:
        return kind(sent(request))
    if request.method == "POST":
        return kind(initial=request.POST.dict())
    return kind(initial={"note": version.note} if version and version.fixed_at is None else None)


def _rows(
    request: HttpRequest, desk: Desk, version: FormulaVersion | None, doing: str
) -> tuple[list[TypedRow], Pasted | None]:
    """The rows to show; for a step of the form, as they are after it."""
    if request.method != "POST":
        return (rows_of(version) if version else [new_row() for _ in range(ROWS_TO_BEGIN_WITH)]), None
    rows = typed_rows(request.POST)
    if doing in ("paste", "paste-over"):
        paste = read_pasted(request.POST.get("pasted", ""), desk.reader)
        if not paste.can_be_taken:
            return rows or [new_row()], paste
        before = [] if doing == "paste-over" else [row for row in rows if not row.is_empty]
        return [*before, *paste.rows], None
    return rearranged(rows, doing), None


def rearranged(rows: Sequence[TypedRow], doing: str) -> list[TypedRow]:
    """The rows after a step: `add`, or `up`, `down`, `away` with the key of a row."""
    verb, _, key = doing.partition(":")
    after = list(rows)
    place = next((place for place, row in enumerate(after) if row.key == key), None)
    if verb == "add":
        after.append(new_row())
    elif place is not None and verb == "away":
        del after[place]
    elif place is not None and verb in ("up", "down"):
        row = after.pop(place)
        after.insert(max(place - 1, 0) if verb == "up" else place + 1, row)
    return after or [new_row()]


def _save(
    request: HttpRequest,
    member: Member,
    version: FormulaVersion | None,
    form: forms.Form,
    read: Sequence[ReadRow],
    doing: str,
) -> HttpResponse | None:
    """Keep the lines and go on to the version's page; None when something is wrong, which the form then says."""
    lines = [one.line for one in read if one.line is not None]
    wrong = [place + 1 for place, one in enumerate(read) if one.incomplete]
    if wrong:
        form.add_error(None, f"Nothing was saved yet: look at {_numbered(wrong)}.")
    elif not lines:
        form.add_error(None, "A formula needs at least one line.")
    elif len(read) > MOST_LINES:
        form.add_error(None, f"A formula has at most {MOST_LINES} lines.")
    if not form.is_valid():
        return None
    with faults_into(form):
        kept = _written(member, version, form.cleaned_data, lines, doing, request.POST.get("edition", ""))
    if not form.is_valid():
        return None
    return done(request, _said(kept, version), "formula-version", kept.formula.code, kept.number)


def _written(
    member: Member,
    version: FormulaVersion | None,
    told: dict[str, Any],
    lines: Sequence[WrittenLine],
    doing: str,
    edition: str,
) -> FormulaVersion:
    now = timezone.now()
    if version is None:
        return write_formula(by=member, now=now, lines=lines, **told)
    if doing == "next":
        return write_next_version(by=member, now=now, formula=version.formula, lines=lines, **told)
    expected = int(edition) if edition.isascii() and edition.isdigit() else None
    return rewrite_version(by=member, now=now, version=version, lines=lines, expected=expected, **told)


def _said(kept: FormulaVersion, version: FormulaVersion | None) -> str:
    formula: Formula = kept.formula
    if version is None:
        return f"{formula.name} is written down."
    if kept.number == version.number:
        return f"Version {kept.number} of {formula.name} is written as you said."
    return f"This is version {kept.number} of {formula.name}."


def _words(version: FormulaVersion | None) -> dict[str, Any]:
    if version is None:
        return {"heading": "Write a formula", "back": reverse("formulas"), "back_to": "Formulas"}
    code, number = version.formula.code, version.number
    return {
        "heading": f"{version.formula.name}, from version {number}"
        if version.fixed_at
        else f"{version.formula.name}, version {number}",
        "back": reverse("formula-version", args=[code, number]),
        "back_to": version.formula.name,
        "fixed": version.fixed_at is not None,
    }


def _numbered(places: Sequence[int]) -> str:
    shown_places = ", ".join(map(str, places[:12]))
    return f"line {shown_places}" if len(places) == 1 else f"lines {shown_places}"
