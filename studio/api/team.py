"""The studio's own resources: itself, the keys of its members, and the history of everything."""

import json

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from studio.actions.keys import issue_key, revoke_key
from studio.actions.studios import choose_figures
from studio.api.filters import Filters, IdFilter, MomentFilter
from studio.api.permissions import AnyMemberWithin
from studio.api.rendering import dump
from studio.api.shapes import (
    HistoryOut,
    KeyIn,
    KeyIssuedOut,
    KeyOut,
    StudioIn,
    StudioOut,
    WhyIn,
)
from studio.api.views import Endpoint, ListEndpoint
from studio.models import ApiKey, HistoryEntry, Scope
from studio.queries.history import entries_matching, history_of
from studio.queries.members import key_seen_by, keys_seen_by


class StudioView(Endpoint):
    """The studio of the acting member."""

    for_admins = True

    @extend_schema(responses=StudioOut)
    def get(self, request: Request) -> HttpResponse:
        """Read the studio."""
        return self.answer(StudioOut, self.studio)

    @extend_schema(request=StudioIn, responses=StudioOut)
    def patch(self, request: Request) -> HttpResponse:
        """Change what the studio has chosen for itself.

        Owners only. The tolerances apply to what is weighed and closed from now on.
        """
        changes = self.read(StudioIn, partial=True)
        studio = choose_figures(by=self.by, at=self.now, changes=changes, expected=self.edition())
        return self.answer(StudioOut, studio)


class KeyFilters(Filters):
    scope = django_filters.ChoiceFilter(choices=Scope.choices)
    revoked = django_filters.BooleanFilter(field_name="revoked_at", lookup_expr="isnull", exclude=True)


class KeyList(ListEndpoint):
    """List one's own keys; owners see those of the whole studio."""

    permission_classes = (AnyMemberWithin,)
    for_admins = True
    model, shape, filterset_class = ApiKey, KeyOut, KeyFilters
    orderings = ("created_at", "name", "expires_at", "last_used_at")
    ordering = "-created_at"

    def rows(self) -> QuerySet[ApiKey]:
        return keys_seen_by(self.by)

    @extend_schema(request=KeyIn, responses={201: KeyIssuedOut})
    def post(self, request: Request) -> HttpResponse:
        """Issue a key to oneself.

        The secret is in this answer only. A repetition with the same idempotency key issues nothing and
        answers the same key with `secret` null; if the secret was lost on the way, revoke the key.
        """
        key, secret = issue_key(by=self.by, at=self.now, **self.read(KeyIn))
        issued = {"key": key, "secret": secret}
        return self.created(KeyIssuedOut, issued, location=reverse("key", args=[key.pk]))

    def remembered_body(self, response: HttpResponse) -> bytes:
        return dump({**json.loads(response.content), "secret": None})


class KeyView(Endpoint):
    """One key."""

    @extend_schema(responses=KeyOut)
    def get(self, request: Request, id: int) -> HttpResponse:  # noqa: A002
        """Read a key, without its secret."""
        return self.answer(KeyOut, key_seen_by(self.by, id))


class KeyRevoke(Endpoint):
    """Ending a key."""

    permission_classes = (AnyMemberWithin,)
    for_admins = True

    @extend_schema(request=WhyIn, responses=KeyOut)
    def post(self, request: Request, id: int) -> HttpResponse:  # noqa: A002
        """Revoke a key, at once and for good."""
        key = revoke_key(by=self.by, at=self.now, key_id=id, **self.read(WhyIn))
        return self.answer(KeyOut, key)


class HistoryFilters(Filters):
    subject = django_filters.CharFilter()
    name = django_filters.CharFilter()
    verb = django_filters.CharFilter()
    by = IdFilter(field_name="by_id")
    since = MomentFilter(field_name="at", lookup_expr="gte")
    before = MomentFilter(field_name="at", lookup_expr="lt")
    search = django_filters.CharFilter(
        method="searched", help_text="Words in a name, a verb, a reason or who it was."
    )

    def searched(self, rows: QuerySet[HistoryEntry], name: str, value: str) -> QuerySet[HistoryEntry]:
        return entries_matching(rows, value)


class HistoryList(ListEndpoint):
    """List who changed what, when, from what to what, and why."""

    model, shape, filterset_class = HistoryEntry, HistoryOut, HistoryFilters
    orderings = {"at": "at", "id": "id"}
    ordering = "-at"

    def rows(self) -> QuerySet[HistoryEntry]:
        return history_of(self.studio)
