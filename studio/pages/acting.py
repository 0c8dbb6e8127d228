"""As which member a signed-in person acts on the pages."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.kernel.errors import Refusal
from studio.models import Member
from studio.pages.faults import refused
from studio.queries.members import active_membership

Rest = ParamSpec("Rest")


def for_members(
    view: Callable[Concatenate[HttpRequest, Member, Rest], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Rest], HttpResponse]:
    """Hand the acting member to a page; who is not signed in is asked to, who is in no studio is told so.

    A refusal that the page does not show itself becomes a page of its own.
    """

    @wraps(view)
    def page(request: HttpRequest, *args: Rest.args, **kwargs: Rest.kwargs) -> HttpResponse:
        preferred = request.session.get("member")
        member = active_membership(person=request.user, preferred=preferred)  # type: ignore[arg-type]
        if member is None:
            return render(request, "studio/no_studio.html", status=403)
        try:
            return view(request, member, *args, **kwargs)
        except Refusal as refusal:
            return refused(request, refusal)

    return login_required(page)
