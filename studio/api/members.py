"""Members and invitations over the API: who may do what in the studio, who comes in, and who leaves."""

import json

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from studio.actions.inviting import invite, withdraw_invitation
from studio.actions.members import change_role, hand_over_studio, remove_member
from studio.api.filters import Filters
from studio.api.rendering import dump
from studio.api.shapes import InvitationIn, InvitationOut, InvitedOut, MemberOut, RoleIn, WhyIn
from studio.api.views import Endpoint, ListEndpoint
from studio.invitation_mail import send_invitation
from studio.models import Invitation, Member, Role
from studio.queries.members import invitations_of, member_of, members_of


class MemberFilters(Filters):
    role = django_filters.ChoiceFilter(choices=Role.choices)
    active = django_filters.BooleanFilter(field_name="left_at", lookup_expr="isnull")


class MemberList(ListEndpoint):
    """List the members of the studio, also those who left."""

    model, shape, filterset_class = Member, MemberOut, MemberFilters
    orderings = {"name": "person__name", "joined_at": "joined_at"}
    ordering = "name"

    def rows(self) -> QuerySet[Member]:
        return members_of(self.studio)


class MemberView(Endpoint):
    @extend_schema(responses=MemberOut)
    def get(self, request: Request, member_id: int) -> HttpResponse:
        """Read a member."""
        return self.answer(MemberOut, member_of(self.studio, member_id))


class MemberRole(Endpoint):
    for_admins = True

    @extend_schema(request=RoleIn, responses=MemberOut)
    def post(self, request: Request, member_id: int) -> HttpResponse:
        """Give a member another role. Owners only; keys that reach further than the role end."""
        change_role(by=self.by, at=self.now, member_id=member_id, **self.read(RoleIn))
        return self.answer(MemberOut, member_of(self.studio, member_id))


class MemberRemove(Endpoint):
    for_admins = True

    @extend_schema(request=WhyIn, responses=MemberOut)
    def post(self, request: Request, member_id: int) -> HttpResponse:
        """End somebody's membership and their keys. Owners only; what they wrote keeps their name."""
        remove_member(by=self.by, at=self.now, member_id=member_id, **self.read(WhyIn))
        return self.answer(MemberOut, member_of(self.studio, member_id))


class MemberHandOver(Endpoint):
    for_admins = True

    @extend_schema(request=WhyIn, responses=MemberOut)
    def post(self, request: Request, member_id: int) -> HttpResponse:
        """Make another member owner in one's own place; one stays as a maker."""
        self.read(WhyIn)
        hand_over_studio(by=self.by, at=self.now, member_id=member_id)
        return self.answer(MemberOut, member_of(self.studio, member_id))


class InvitationFilters(Filters):
    open = django_filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull")


class InvitationList(ListEndpoint):
    """List invitations, also those that ended."""

    for_admins = True
    model, shape, filterset_class = Invitation, InvitationOut, InvitationFilters
    orderings = ("made_at", "email")
    ordering = "-made_at"

    def rows(self) -> QuerySet[Invitation]:
        return invitations_of(self.studio)

    @extend_schema(request=InvitationIn, responses={201: InvitedOut})
    def post(self, request: Request) -> HttpResponse:
        """Invite somebody by e-mail. Owners only.

        The link is in this answer and in the mail only, and leads in once, for a week. A repetition with the same
        idempotency key invites nobody anew and answers with `link` null.
        """
        invitation, secret = invite(by=self.by, at=self.now, **self.read(InvitationIn))
        link = send_invitation(request._request, invitation, secret)
        told = {"invitation": invitation, "link": link}
        return self.created(InvitedOut, told, location=f"/api/v1/invitations/{invitation.pk}/")

    def remembered_body(self, response: HttpResponse) -> bytes:
        return dump({**json.loads(response.content), "link": None})


class InvitationView(Endpoint):
    @extend_schema(responses=InvitationOut)
    def get(self, request: Request, invitation_id: int) -> HttpResponse:
        """Read an invitation, without its link."""
        return self.answer(
            InvitationOut, invitations_of(self.studio).one(self.studio, "invitation", id=invitation_id)
        )


class InvitationWithdraw(Endpoint):
    for_admins = True

    @extend_schema(request=WhyIn, responses=InvitationOut)
    def post(self, request: Request, invitation_id: int) -> HttpResponse:
        """End an invitation; its link leads nowhere any more. Owners only."""
        self.read(WhyIn)
        withdraw_invitation(by=self.by, at=self.now, invitation_id=invitation_id)
        return self.answer(
            InvitationOut, invitations_of(self.studio).one(self.studio, "invitation", id=invitation_id)
        )
