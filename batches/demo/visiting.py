"""Going into the demo studio with one's own sign-in, to look around and try things, and out of it again.

It is a studio of its own that whoever wants becomes a member of. Its ledger is as permanent as any other, so that
"removing" it is leaving it; one's own studio is untouched by either.
"""

from datetime import datetime
from functools import cache

from django.conf import settings

from batches.demo.sheets import Sheets, read_sheets
from batches.demo.sign_in import demo_owner, open_demo_studio
from studio.actions.joining import join_studio
from studio.kernel.background import dispatch
from studio.models import Member, Person, Role


@cache
def _sheets() -> Sheets:
    return read_sheets(settings.BASE_DIR / "fixtures" / "demo")


def visit_demo_studio(*, person: Person, at: datetime) -> Member:
    """The person's membership in the demo studio, which is filled when there is none yet."""
    host = demo_owner(_sheets())
    if host is None:
        kept_in = settings.DATA_DIR / "demo.json"
        open_demo_studio(now=at, sheets=_sheets(), url=settings.ORIGIN, kept_in=kept_in)
        host = demo_owner(_sheets())
        if host is not None:
            dispatch("studio.jobs.look_after", host.studio_id)
    assert host is not None
    return join_studio(person=person, studio=host.studio, role=Role.MAKER, at=at)


def is_visitor(member: Member) -> bool:
    """Whether a member is in the demo studio without being one of its own invented people. One statement."""
    own = [told["email"] for told in _sheets().scenario["members"]]
    host = Member.objects.filter(studio=member.studio_id, person__email=own[0])
    return host.exists() and member.person.email not in own
