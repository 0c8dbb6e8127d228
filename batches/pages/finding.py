"""Finding anything from anywhere: a scanned or typed number leads to its page at once, words to a short list."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from batches.models import Batch, Formula
from batches.queries.finding import batch_number, batches_matching, formulas_matching
from inventory.models import Lot, Material
from inventory.queries.finding import lot_number, lots_likely_meant, lots_matching, materials_matching
from studio.models import Member
from studio.pages.acting import for_members
from studio.pages.answers import is_partial, on_to, shown

SHOWN = 6
LONGEST = 200


@require_safe
@for_members
def find(request: HttpRequest, member: Member) -> HttpResponse:
    """What fits the words; the lot or batch of a whole number is opened."""
    text = " ".join(request.GET.get("q", "").replace("\0", "").split())[:LONGEST]
    number = lot_number(text, member.studio)
    if number and not is_partial(request) and Lot.objects.of(member.studio).numbered(number).exists():
        return on_to("lot", number)
    batch = batch_number(text)
    if batch and not is_partial(request) and Batch.objects.of(member.studio).numbered(batch).exists():
        return on_to("batch", batch)
    template = "batches/parts/found.html" if is_partial(request) else "batches/found.html"
    return shown(request, template, {"find_text": text, **(_found(member, text) if text else {})})


def _found(member: Member, text: str) -> dict[str, object]:
    studio = member.studio
    lots = lots_matching(Lot.objects.of(studio), text, studio).order_by("emptied_at", "title", "id")
    found: dict[str, object] = {
        "lots": list(lots[:SHOWN]),
        "materials": list(
            materials_matching(Material.objects.of(studio), text).order_by("name", "id")[:SHOWN]
        ),
        "formulas": list(formulas_matching(Formula.objects.of(studio), text).order_by("code", "id")[:SHOWN]),
        "batches": list(batches_matching(Batch.objects.of(studio), text).order_by("-id")[:SHOWN]),
    }
    if not any(found.values()):
        found["meant"] = lots_likely_meant(studio, text)
    return found
