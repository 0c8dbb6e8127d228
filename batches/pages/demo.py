"""Loading the demo studio: filling it when there is none, and going into it."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from batches.demo.visiting import visit_demo_studio
from studio.models import Person
from studio.pages.answers import done


@require_POST
@login_required
def load(request: HttpRequest) -> HttpResponse:
    """Go into the demo studio; going in twice is going in once."""
    assert isinstance(request.user, Person)
    member = visit_demo_studio(person=request.user, at=timezone.now())
    request.session["member"] = member.pk
    return done(request, f"This is {member.studio}: look around and try what you like.", "home")
