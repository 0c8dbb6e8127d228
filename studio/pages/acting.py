"""As which member a signed-in person acts on the pages, and what a reader is kept from."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.conf import settings
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render, resolve_url

from studio.kernel.errors import Refusal
from studio.models import Member
from studio.models.people import ReadersOnlyRead
from studio.pages.faults import refused
from studio.queries.members import active_membership

Rest = ParamSpec("Rest")
Page = Callable[Concatenate[HttpRequest, Member, Rest], HttpResponseBase]


def for_members(view: Page[Rest]) -> Callable[Concatenate[HttpRequest, Rest], HttpResponseBase]:
    """Hand the acting member to a page; who is not signed in is asked to, who is in no studio is told so.

    A refusal that the page does not show itself becomes a page of its own. No cache keeps what a member saw.
    """

    @wraps(view)
    def page(request: HttpRequest, *args: Rest.args, **kwargs: Rest.kwargs) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return _to_sign_in(request)
        preferred = request.session.get("member")
        member = active_membership(person=request.user, preferred=preferred)
        if member is None:
            return render(request, "studio/no_studio.html", status=403)
        request.member = member  # type: ignore[attr-defined]
        response: HttpResponseBase
        try:
            response = view(request, member, *args, **kwargs)
        except Refusal as refusal:
            response = refused(request, refusal)
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response

    return page


def for_makers(view: Page[Rest]) -> Callable[Concatenate[HttpRequest, Rest], HttpResponseBase]:
    """Like `for_members`, for pages that change something: a reader is refused, also the empty form."""

    @wraps(view)
    def page(
        request: HttpRequest, member: Member, /, *args: Rest.args, **kwargs: Rest.kwargs
    ) -> HttpResponseBase:
        if not member.may_write:
            raise ReadersOnlyRead("You are a reader in this studio. Ask a maker or an owner to do this.")
        return view(request, member, *args, **kwargs)

    return for_members(page)


def _to_sign_in(request: HttpRequest) -> HttpResponse:
    """The way to the sign-in page and back; a live part of a page lets the browser as a whole go there."""
    if request.headers.get("HX-Request"):
        return HttpResponse(status=204, headers={"HX-Redirect": resolve_url(settings.LOGIN_URL)})
    return redirect_to_login(request.get_full_path(), resolve_url(settings.LOGIN_URL))
