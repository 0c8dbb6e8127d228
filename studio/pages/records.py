"""The chain of sealed records, its checkpoints, and the files one may leave with."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from studio.actions.checkpoints import checkpoint_now
from studio.actions.studios import refuse_others_than_owners
from studio.kernel.downloads import zipped
from studio.models import Member, Role
from studio.pages.acting import for_makers, for_members
from studio.pages.answers import done, shown
from studio.pages.fields import Text
from studio.pages.listing import Listing
from studio.pages.once import once
from studio.queries.bundle import write_bundle
from studio.queries.chain import records_of
from studio.queries.checkpoints import checkpoint_called, checkpoints_of
from studio.queries.leaving_with import write_everything

CHECKPOINTS_SHOWN = 5


class CodeForm(forms.Form):
    """A code from a paper, to be looked for."""

    code = Text(longest=40, label="Code from a ticket or a letter", required=False)


@require_safe
@for_members
def records(request: HttpRequest, member: Member) -> HttpResponse:
    """The records, newest first, and the newest checkpoints; a code from a paper is looked for."""
    form = CodeForm(request.GET if request.GET.get("code") else None)
    code = form.cleaned_data["code"] if form.is_valid() else ""
    context = {
        "code_form": form,
        "code": code,
        "known": checkpoint_called(member.studio, code) if code else None,
        "checkpoints": list(
            checkpoints_of(member.studio).order_by("-number").defer("text")[:CHECKPOINTS_SHOWN]
        ),
        "listing": Listing.of(records_of(member.studio).order_by("-sequence").defer("text"), request),
        "owner": member.role == Role.OWNER,
    }
    return shown(request, "studio/records.html", context)


@require_POST
@for_makers
@once
def new_checkpoint(request: HttpRequest, member: Member) -> HttpResponse:
    """Make a checkpoint now."""
    made = checkpoint_now(by=member, at=timezone.now())
    return done(request, f"Checkpoint {made.code} is made. Write it down.", "records")


@require_safe
@for_members
def bundle(request: HttpRequest, member: Member) -> HttpResponseBase:
    """The records as they verify themselves."""
    return zipped("records.zip", lambda file: write_bundle(member.studio, file))


@require_safe
@for_members
def everything(request: HttpRequest, member: Member) -> HttpResponseBase:
    """Everything of the studio, for its owner."""
    refuse_others_than_owners(member)
    now = timezone.now()
    return zipped("studio.zip", lambda file: write_everything(studio=member.studio, at=now, into=file))
