"""Sharing: what one member asks of another's lot, and what is lent until a day.

A lot without a keeper is the studio's and everybody's. A kept lot is asked for: some of it to take away, the lot
itself for a while, or that a batch may claim more of it than its keeper lets go unasked (`Lot.ask_above`).
"""

from django.db import models
from django.db.models import Q

from studio.kernel.mass_field import MassField
from studio.models import Scoped


class Wish(models.TextChoices):
    SOME = "some"
    LOAN = "loan"
    CLAIM = "claim"


class RequestState(models.TextChoices):
    OPEN = "open"
    GRANTED = "granted"
    DECLINED = "declined"
    WITHDRAWN = "withdrawn"


class LotRequest(Scoped):
    """What a member asks the keeper of a lot for, and what came of it."""

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="requests")
    asker = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    wish = models.CharField(max_length=5, choices=Wish)
    mass = MassField(null=True, help_text="Grams wanted; none for a loan.")
    until = models.DateField(null=True, help_text="Day a loan would end.")
    purpose = models.CharField(max_length=20, blank=True, help_text="Number of the batch that would claim.")
    word = models.TextField(blank=True)
    state = models.CharField(max_length=9, choices=RequestState, default=RequestState.OPEN)
    asked_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True)
    answered_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    answer = models.TextField(blank=True)
    granted_mass = MassField(null=True)
    given = models.OneToOneField(
        "inventory.Lot",
        on_delete=models.PROTECT,
        null=True,
        related_name="given_on",
        help_text="Lot handed over.",
    )
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(wish__in=Wish.values), name="request_wish_known"),
            models.CheckConstraint(condition=Q(state__in=RequestState.values), name="request_state_known"),
            models.CheckConstraint(
                condition=Q(wish=Wish.LOAN, mass__isnull=True, until__isnull=False)
                | (~Q(wish=Wish.LOAN) & Q(mass__gt=0, until__isnull=True)),
                name="request_mass_or_day",
            ),
            models.CheckConstraint(
                condition=Q(wish=Wish.CLAIM) & ~Q(purpose="") | ~Q(wish=Wish.CLAIM) & Q(purpose=""),
                name="request_claims_for_a_batch",
            ),
            models.CheckConstraint(
                condition=Q(state=RequestState.OPEN, answered_at__isnull=True)
                | ~Q(state=RequestState.OPEN) & Q(answered_at__isnull=False),
                name="request_answered_when_not_open",
            ),
            models.CheckConstraint(
                condition=Q(granted_mass__isnull=True)
                | Q(state=RequestState.GRANTED, granted_mass__gt=0, granted_mass__lte=models.F("mass")),
                name="request_grants_at_most_what_was_asked",
            ),
            models.UniqueConstraint(
                fields=["lot", "asker", "wish", "purpose"],
                condition=Q(state=RequestState.OPEN),
                name="request_open_once",
            ),
        ]
        indexes = [
            models.Index(fields=["studio", "-id"], name="requests_newest_first"),
            models.Index(fields=["lot"], condition=Q(state=RequestState.OPEN), name="open_requests_of_lot"),
        ]

    def __str__(self) -> str:
        return f"{self.wish} of lot {self.lot_id} for {self.asker_id}"


class Loan(Scoped):
    """A lot in somebody else's hands until a day. Its keeper stays its keeper."""

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="loans")
    borrower = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    lender = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    request = models.OneToOneField(LotRequest, on_delete=models.PROTECT, null=True, related_name="loan")
    due_on = models.DateField()
    lent_at = models.DateTimeField()
    mass_out = MassField(help_text="Grams on hand when it was lent.")
    returned_at = models.DateTimeField(null=True)
    returned_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    mass_back = MassField(null=True, help_text="Grams found when it was weighed back.")
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["lot"], condition=Q(returned_at__isnull=True), name="loan_open_once"
            ),
            models.CheckConstraint(
                condition=Q(returned_at__isnull=True, mass_back__isnull=True, returned_by__isnull=True)
                | Q(returned_at__isnull=False, mass_back__isnull=False, returned_by__isnull=False),
                name="loan_returned_whole",
            ),
        ]
        indexes = [
            models.Index(fields=["studio", "-id"], name="loans_newest_first"),
            models.Index(
                fields=["studio", "due_on"], condition=Q(returned_at__isnull=True), name="open_loans_by_day"
            ),
        ]

    def __str__(self) -> str:
        return f"lot {self.lot_id} with {self.borrower_id} until {self.due_on}"
