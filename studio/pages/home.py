"""The first page: which studio this is, as whom one acts, and one's keys for the API."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.keys import issue_key, revoke_key
from studio.kernel.errors import Refusal
from studio.models import Member, Scope
from studio.pages.acting import for_members
from studio.queries.members import keys_of


class KeyForm(forms.Form):
    """A key to be issued."""

    name = forms.CharField(max_length=80, label="What will use it")
    scope = forms.ChoiceField(choices=[(scope.value, scope.value) for scope in Scope], initial=Scope.WRITE)


@require_safe
@for_members
def home(request: HttpRequest, member: Member) -> HttpResponse:
    """Studio, member, keys, and where to read on."""
    return _page(request, member, KeyForm())


@require_POST
@for_members
def new_key(request: HttpRequest, member: Member) -> HttpResponse:
    """Issue a key and show its secret, this once."""
    form = KeyForm(request.POST)
    if not form.is_valid():
        return _page(request, member, form, status=422)
    try:
        _, secret = issue_key(by=member, at=timezone.now(), **form.cleaned_data)
    except Refusal as refusal:
        form.add_error(None, refusal.message)
        return _page(request, member, form, status=422)
    return _page(request, member, KeyForm(), secret=secret)


@require_POST
@for_members
def end_key(request: HttpRequest, member: Member, key_id: int) -> HttpResponse:
    """Revoke a key."""
    revoke_key(by=member, at=timezone.now(), key_id=key_id)
    return redirect("home")


def _page(
    request: HttpRequest, member: Member, form: KeyForm, *, secret: str = "", status: int = 200
) -> HttpResponse:
    now = timezone.now()
    shown = {
        "member": member,
        "keys": [key for key in keys_of(member) if key.revoked_at is None],
        "form": form,
        "secret": secret,
        "now": now,
        "origin": f"{request.scheme}://{request.get_host()}",
    }
    response = render(request, "studio/home.html", shown, status=status)
    if secret:
        response["Cache-Control"] = "no-store"
    return response
