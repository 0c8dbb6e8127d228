"""Webhooks over the API: for owners only, also to look at, because an address can hold what others should not know."""

import json
from typing import Any

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from studio.actions.people import refuse_others_than_owners
from studio.actions.webhooks import add_webhook, end_webhook, renew_secret, try_webhook
from studio.api.alert_shapes import DeliveryOut, WebhookIn, WebhookIssuedOut, WebhookOut
from studio.api.filters import Filters
from studio.api.rendering import dump
from studio.api.shapes import WhyIn
from studio.api.views import Endpoint, ListEndpoint
from studio.models import Delivery, DeliveryState, Webhook
from studio.queries.alerts import deliveries_of, webhook_of, webhooks_of


class ForOwners(Endpoint):
    """What only owners see and do."""

    for_admins = True

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        refuse_others_than_owners(self.by)

    def webhook(self, webhook_id: int) -> Webhook:
        return webhook_of(self.studio, webhook_id)

    def without_secret(self, response: HttpResponse) -> bytes:
        return dump({**json.loads(response.content), "secret": None})


class WebhookFilters(Filters):
    ended = django_filters.BooleanFilter(field_name="ended_at", lookup_expr="isnull", exclude=True)


class WebhookList(ForOwners, ListEndpoint):
    """List the webhooks of the studio."""

    model, shape, filterset_class = Webhook, WebhookOut, WebhookFilters
    orderings = ("created_at", "url")
    ordering = "-created_at"

    def rows(self) -> QuerySet[Webhook]:
        return webhooks_of(self.studio)

    @extend_schema(request=WebhookIn, responses={201: WebhookIssuedOut})
    def post(self, request: Request) -> HttpResponse:
        """Add a webhook.

        Every alert that is raised, becomes more urgent or is closed is sent there by POST, signed with the secret,
        which is in this answer only. Addresses inside of private networks are refused.
        """
        webhook, secret = add_webhook(by=self.by, at=self.now, **self.read(WebhookIn))
        location = reverse("webhook", args=[webhook.pk])
        return self.created(WebhookIssuedOut, {"webhook": webhook, "secret": secret}, location=location)

    def remembered_body(self, response: HttpResponse) -> bytes:
        return self.without_secret(response)


class WebhookView(ForOwners):
    """One webhook."""

    @extend_schema(responses=WebhookOut)
    def get(self, request: Request, webhook_id: int) -> HttpResponse:
        """Read a webhook, without its secret."""
        return self.answer(WebhookOut, self.webhook(webhook_id))


class WebhookRenew(ForOwners):
    """A new secret for a webhook."""

    @extend_schema(request=WhyIn, responses=WebhookIssuedOut)
    def post(self, request: Request, webhook_id: int) -> HttpResponse:
        """Renew the secret; for a day everything is signed by the former one as well."""
        webhook, secret = renew_secret(by=self.by, at=self.now, webhook_id=webhook_id, **self.read(WhyIn))
        return self.answer(WebhookIssuedOut, {"webhook": webhook, "secret": secret})

    def remembered_body(self, response: HttpResponse) -> bytes:
        return self.without_secret(response)


class WebhookTry(ForOwners):
    """Seeing whether a webhook takes what is sent."""

    @extend_schema(request=WhyIn, responses={202: WebhookOut})
    def post(self, request: Request, webhook_id: int) -> HttpResponse:
        """Send something, to see whether it arrives; its deliveries tell."""
        webhook = try_webhook(by=self.by, at=self.now, webhook_id=webhook_id, **self.read(WhyIn))
        return self.accepted(WebhookOut, webhook, location=reverse("deliveries", args=[webhook.pk]))


class WebhookEnd(ForOwners):
    """Ending a webhook."""

    @extend_schema(request=WhyIn, responses=WebhookOut)
    def post(self, request: Request, webhook_id: int) -> HttpResponse:
        """End a webhook, at once and for good; what is on its way is not sent any more."""
        webhook = end_webhook(by=self.by, at=self.now, webhook_id=webhook_id, **self.read(WhyIn))
        return self.answer(WebhookOut, webhook)


class DeliveryFilters(Filters):
    state = django_filters.ChoiceFilter(choices=DeliveryState.choices)


class DeliveryList(ForOwners, ListEndpoint):
    """List what was, or is, on its way to a webhook, with every try. Kept for a month."""

    model, shape, filterset_class = Delivery, DeliveryOut, DeliveryFilters
    orderings = ("made_at", "due_at", "attempts")
    ordering = "-made_at"

    def rows(self) -> QuerySet[Delivery]:
        return deliveries_of(self.webhook(self.kwargs["webhook_id"]))
