"""The shapes of alerts, of the mail about them, and of webhooks with what was sent to them."""

import re
from typing import Any

from rest_framework import serializers

from studio.api.fields import (
    Day,
    DescribedField,
    Direction,
    Moment,
    OneOf,
    PlainText,
    Shape,
    WholeNumber,
    YesNo,
)
from studio.api.ids import IdField
from studio.kernel.causes import Urgency
from studio.models import DeliveryState, MailChoice

_URL = re.compile(r"https?://[!-~]+")
LONGEST_URL = 500


class UrgencyField(OneOf):
    """How soon somebody should look, in a word."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__([urgency.word for urgency in Urgency], **kwargs)

    def to_representation(self, value: int) -> str:
        return Urgency(value).word


class UrlText(DescribedField):
    """The address of a web server, in plain letters."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str) or not _URL.fullmatch(data) or len(data) > LONGEST_URL:
            raise self.refuse(
                f"Give an address like https://example.org/path, of at most {LONGEST_URL} letters."
            )
        return data

    def to_representation(self, value: str) -> str:
        return value

    def described(self, direction: Direction) -> dict[str, Any]:
        described: dict[str, Any] = {"type": "string", "examples": ["https://hooks.example.org/stillroom"]}
        if direction == "request":
            described |= {"pattern": "^https?://[!-~]+$", "maxLength": LONGEST_URL}
        return described


class AlertOut(Shape):
    """One cause for concern, for as long as it is there."""

    id = IdField()
    kind = PlainText(longest=30)
    subject = PlainText(longest=20, help_text="What sort of thing it is about, such as lot.")
    name = PlainText(longest=120, help_text="The number, code or id of that thing.")
    urgency = UrgencyField()
    sentence = PlainText(longest=2000)
    due_on = Day(allow_null=True)
    since = Moment()
    seen_at = Moment(help_text="When its cause was last found to be there, to the hour.")
    closed_at = Moment(allow_null=True, help_text="When its cause was gone.")
    quieted_at = Moment(allow_null=True, help_text="When somebody said to have seen it.")
    quieted_by = PlainText(longest=120, source="quieted_by.person.name", allow_null=True, default=None)
    details = serializers.DictField(help_text="The numbers of the sentence; which, depends on the kind.")


class AlertMailOut(Shape):
    """How one member is mailed about alerts."""

    mail = OneOf(MailChoice)
    edition = WholeNumber()


class AlertMailIn(Shape):
    """How to be mailed from now on."""

    mail = OneOf(MailChoice)


class WebhookIn(Shape):
    """An address to be told of alerts."""

    url = UrlText()
    note = PlainText(longest=120, blank=True, default="")


class WebhookOut(Shape):
    """A webhook, without its secret."""

    id = IdField()
    url = UrlText()
    note = PlainText(longest=120)
    by = PlainText(longest=120, source="by.person.name")
    created_at = Moment()
    former_until = Moment(
        allow_null=True, help_text="Until when everything is signed by the former secret as well."
    )
    ended_at = Moment(allow_null=True)


class WebhookIssuedOut(Shape):
    """A webhook with its new secret, which is shown this once."""

    webhook = WebhookOut()
    secret = PlainText(longest=80, allow_null=True, help_text="null when the same request is repeated.")


class TryOut(Shape):
    """One try to deliver."""

    at = Moment()
    taken = YesNo()
    status = WholeNumber(allow_null=True, help_text="The status of the answer, if there was one.")
    outcome = PlainText(longest=200)
    took_ms = WholeNumber()


class DeliveryOut(Shape):
    """One event on its way to a webhook, and every try."""

    id = IdField()
    event = PlainText(longest=36, source="event.uuid", help_text="The same on every try.")
    topic = PlainText(longest=40, source="event.topic")
    state = OneOf(DeliveryState)
    made_at = Moment()
    due_at = Moment(help_text="When it is tried next, while it is waiting.")
    ended_at = Moment(allow_null=True)
    attempts = WholeNumber()
    tries = serializers.ListField(child=TryOut(), source="tries.all")
