"""From a lot to a formula: what is in it, written down to be made again and changed."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from batches.actions.formulas_from_lots import write_contents_as_formula
from batches.pages.forms import FormulaForm
from batches.queries.formulas import formulas_of
from inventory.queries.finding import lot_at
from inventory.queries.shelf import lots_of
from studio.models import Member
from studio.pages.acting import for_makers
from studio.pages.answers import done, faults_into, sent, shown
from studio.pages.fields import Picked
from studio.pages.once import once


class FromLotForm(FormulaForm):
    """Which formula gets a version, or what a new one is called."""

    formula = Picked("formula", label="As the next version of", required=False, nothing="a new formula")
    field_order = ("formula", "name", "code", "note")

    def __init__(self, member: Member, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        formula = self.fields["formula"]
        assert isinstance(formula, Picked)
        formula.offer(formulas_of(member.studio).order_by("name", "id"))
        self.fields["name"].required = False
        self.fields["name"].label = "Name of the new one"

    def clean(self) -> dict[str, Any]:
        told = self.cleaned_data
        if told.get("formula"):
            return {**told, "code": told["formula"].code}
        if not told.get("name") and "name" not in self.errors:
            self.add_error("name", "Give the new formula a name, or choose one that gets its next version.")
        return super().clean()


@require_http_methods(["GET", "HEAD", "POST"])
@for_makers
@once
def formula_from_lot(request: HttpRequest, member: Member, number: str) -> HttpResponse:
    """Write what a lot contains as a new formula, or as the next version of one."""
    lot = lot_at(lots_of(member.studio), number)
    form = FromLotForm(member, sent(request), initial={"name": lot.title[:120]})
    if form.is_valid():
        told = {name: form.cleaned_data[name] for name in ("code", "name", "note")}
        with faults_into(form):
            version = write_contents_as_formula(by=member, now=timezone.now(), lot=lot, **told)
    if form.is_valid():
        return done(
            request,
            f"What {lot.number} contains is version {version.number} of {version.formula.name}.",
            "formula-version",
            version.formula.code,
            version.number,
        )
    context = {
        "heading": f"Write {lot.title} as a formula",
        "lead": "By its weighings, every material neat, in a thousand parts. The dilutions to take are written in after.",
        "send": "Write it down",
        "back": reverse("lot", args=[lot.number]),
        "back_to": lot.number,
    }
    return shown(request, "studio/form.html", context, form)
