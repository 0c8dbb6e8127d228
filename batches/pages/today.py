"""The first page: what wants doing, and in an empty studio the three first steps."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from batches.demo.visiting import is_visitor
from batches.queries.today import today_in
from studio.models import Member
from studio.pages.acting import for_members
from studio.pages.answers import shown


@require_safe
@for_members
def today(request: HttpRequest, member: Member) -> HttpResponse:
    """Alerts by urgency, batches in hand, recent records."""
    now = timezone.now()
    context = {
        "now": now,
        "today": now.date(),
        "is_visitor": is_visitor(member),
        "found": today_in(member.studio),
    }
    return shown(request, "batches/today.html", context)
