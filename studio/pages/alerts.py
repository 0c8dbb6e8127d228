"""Alerts as a list: what calls out, what was seen and is still so, and what is over."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.alerts import quiet_alert
from studio.kernel.causes import Urgency
from studio.models import Member
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, shown
from studio.pages.listing import Listing
from studio.pages.once import once
from studio.queries.alerts import alerts_in_state

STATES = (("", "Calling out"), ("seen", "Seen, and still so"), ("over", "Over"))


@require_safe
@for_members
def alerts(request: HttpRequest, member: Member) -> HttpResponse:
    """The alerts of the studio in one of the states."""
    asked = request.GET.get("state", "")
    state = asked if asked in dict(STATES) else ""
    context = {
        "listing": Listing.of(alerts_in_state(member.studio, state), request),
        "states": STATES,
        "state": state,
        "heads": {int(urgency): urgency.word for urgency in Urgency},
    }
    return shown(request, "studio/alerts.html", context)


@require_POST
@for_makers
@once
def quiet(request: HttpRequest, member: Member, alert_id: int) -> HttpResponse:
    """Say that one has seen an alert."""
    quiet_alert(by=member, at=timezone.now(), alert_id=alert_id)
    return done(request, "Seen. It is kept under “Seen, and still so” until its cause is gone.", "alerts")
