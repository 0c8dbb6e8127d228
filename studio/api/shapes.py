"""The shapes of the studio's own resources: members, keys, history, the studio, kinds of problem."""

from typing import Any

from rest_framework import serializers

from studio.api.addresses import EmailText
from studio.api.fields import DecimalText, Moment, OneOf, PlainText, Shape, WholeNumber, YesNo, shortest
from studio.api.ids import IdField
from studio.models import Role, Scope


class MemberOut(Shape):
    """A person in the studio."""

    id = IdField()
    name = PlainText(longest=120, source="person.name")
    role = OneOf(Role)
    joined_at = Moment()
    left_at = Moment(allow_null=True)


class RoleIn(Shape):
    """The role a member is to have."""

    role = OneOf(Role)


class InvitationIn(Shape):
    """Somebody to be invited."""

    email = EmailText(help_text="Where the link is sent.")
    role = OneOf(Role, default=Role.MAKER)


class InvitationOut(Shape):
    """An invitation, without its link."""

    id = IdField()
    email = EmailText()
    role = OneOf(Role)
    by = PlainText(longest=120, source="by.person.name")
    made_at = Moment()
    expires_at = Moment()
    ended_at = Moment(allow_null=True, help_text="When it was accepted, withdrawn or replaced.")
    accepted_by = PlainText(longest=120, source="accepted_by.person.name", allow_null=True)


class InvitedOut(Shape):
    """A new invitation with its link, which is shown this once and not kept."""

    invitation = InvitationOut()
    link = PlainText(longest=400, allow_null=True, help_text="null when the same request is repeated.")


class KeyIn(Shape):
    """A key to be issued to the acting member."""

    name = PlainText(longest=80, help_text="What will use the key.")
    scope = OneOf(Scope, default=Scope.WRITE)
    expires_at = Moment(required=False)


class KeyOut(Shape):
    """A key, without its secret."""

    id = IdField()
    member = PlainText(longest=120, source="member.person.name")
    name = PlainText(longest=80)
    prefix = PlainText(longest=16, help_text="The first characters of the secret.")
    scope = OneOf(Scope)
    created_at = Moment()
    expires_at = Moment(allow_null=True)
    revoked_at = Moment(allow_null=True)
    last_used_at = Moment(allow_null=True)


class KeyIssuedOut(Shape):
    """A new key with its secret, which is shown this once and not kept."""

    key = KeyOut()
    secret = PlainText(longest=80, allow_null=True, help_text="null when the same request is repeated.")


class WhyIn(Shape):
    """A reason, where one may be given."""

    why = PlainText(longest=1000, lines=True, blank=True, default="")


class SealedRecordOut(Shape):
    """A record in its place in the chain of seals."""

    sequence = WholeNumber()
    subject = PlainText(longest=20)
    name = PlainText(longest=120)
    sealed_at = Moment()
    by = PlainText(longest=120, source="by.person.name")
    amends = WholeNumber(
        source="amends.sequence", allow_null=True, default=None, help_text="The record it amends."
    )
    previous = PlainText(longest=64)
    seal = PlainText(longest=64)
    text = PlainText(longest=10_000_000, help_text="The sealed text: RFC 8785 canonical JSON.")


class CheckpointOut(Shape):
    """How far records and ledger had grown, signed."""

    number = WholeNumber()
    code = PlainText(longest=40, help_text="As it is printed on papers.")
    at = Moment()
    digest = PlainText(longest=64, help_text="SHA-256 of the text.")
    text = PlainText(longest=100_000_000, help_text="What is signed.")
    signature = PlainText(longest=88, help_text="Ed25519 (RFC 8032) over the text, in base64.")
    key = PlainText(longest=44, help_text="The public key, in base64.")


class HistoryOut(Shape):
    """One change of one thing."""

    id = IdField()
    at = Moment()
    by = PlainText(longest=120, source="by.person.name")
    subject = PlainText(longest=20)
    name = PlainText(longest=120)
    verb = PlainText(longest=40)
    changes = serializers.DictField(help_text="Field to [old, new].")
    why = PlainText(longest=1000)


class ToleranceField(DecimalText):
    """A relative tolerance: a fraction above 0 and at most 1."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(digits=10, places=9, above=0, most=1, **kwargs)
        self.example = "0.02"

    def to_representation(self, value: Any) -> str:
        return shortest(value)


TWO_PERSON_CHECK = (
    "Whether a batch is released only when somebody who did not weigh it has signed it as checked."
)


class StudioOut(Shape):
    """The studio and the figures it has chosen for itself."""

    name = PlainText(longest=120)
    currency = PlainText(longest=3)
    weighing_tolerance = ToleranceField(help_text="Largest relative deviation of a weighing from its target.")
    strength_tolerance = ToleranceField(
        help_text="Largest relative difference of actual from declared strength that needs no decision."
    )
    claim_days = WholeNumber(help_text="Days after which a claim without a weighing is released.")
    document_days = WholeNumber(help_text="Days for which a paper that was made is kept.")
    two_person_check = YesNo(help_text=TWO_PERSON_CHECK)
    edition = WholeNumber()


class StudioIn(Shape):
    """What an owner may change of the studio."""

    name = PlainText(longest=120)
    weighing_tolerance = ToleranceField()
    strength_tolerance = ToleranceField()
    claim_days = WholeNumber(least=1, most=3650)
    document_days = WholeNumber(least=1, most=3650)
    two_person_check = YesNo(help_text=TWO_PERSON_CHECK)
