"""The ledger: movements of mass, append-only, and claims on lots.

Every gram is accounted for by a movement from one lot to another, into the studio or out of it. Claims say what is
spoken for; they name what they are for in plain text, so that the shelf needs to know nothing of batches.
"""

from django.db import models
from django.db.models import F, Q

from studio.kernel.mass_field import MassField
from studio.models import Scoped


class Reason(models.TextChoices):
    RECEIVED = "received"
    WEIGHED_IN = "weighed in"
    DRAWN_OFF = "drawn off"
    HANDED_OVER = "handed over"
    COUNTED_UP = "counted up"
    COUNTED_DOWN = "counted down"
    EVAPORATED = "evaporated"
    DISCARDED = "discarded"
    REVERSED = "reversed"


ENTERING = (Reason.RECEIVED, Reason.COUNTED_UP, Reason.REVERSED)
LEAVING = (Reason.COUNTED_DOWN, Reason.EVAPORATED, Reason.DISCARDED, Reason.HANDED_OVER, Reason.REVERSED)
PASSING_ON = (Reason.WEIGHED_IN, Reason.DRAWN_OFF, Reason.HANDED_OVER)
"""The reasons by which one lot's contents become part of another's: the edges of the ancestry."""


class Movement(Scoped):
    """One transfer of mass. Its source is empty only when it enters the studio, its target only when it leaves."""

    source = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    target = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, null=True, related_name="+")
    source_revision = models.PositiveSmallIntegerField(null=True)
    source_concentration = models.DecimalField(max_digits=16, decimal_places=12, default=1)
    mass = MassField()
    mass_u = MassField(null=True, help_text="Standard uncertainty of a weighed mass.")
    reason = models.CharField(max_length=14, choices=Reason)
    why = models.TextField(blank=True)
    batch = models.CharField(max_length=20, blank=True)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversed_by")
    operation = models.CharField(
        max_length=80, null=True, help_text="Names what must never be done twice, such as one closing."
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(mass__gt=0), name="movement_mass_positive"),
            models.CheckConstraint(condition=Q(reason__in=Reason.values), name="movement_reason_known"),
            models.CheckConstraint(
                condition=Q(source__isnull=False) | Q(target__isnull=False, reason__in=ENTERING),
                name="movement_without_source_enters",
            ),
            models.CheckConstraint(
                condition=Q(target__isnull=False) | Q(source__isnull=False, reason__in=LEAVING),
                name="movement_without_target_leaves",
            ),
            models.CheckConstraint(
                condition=Q(source__isnull=True) | Q(target__isnull=True) | ~Q(source=F("target")),
                name="movement_between_two_lots",
            ),
            models.CheckConstraint(
                condition=Q(reverses__isnull=True) | Q(reason=Reason.REVERSED),
                name="movement_reversing_says_so",
            ),
            models.UniqueConstraint(fields=["studio", "operation"], name="movement_operation_once"),
        ]
        indexes = [
            models.Index(fields=["target", "source", "mass"], name="movements_into_lot"),
            models.Index(fields=["source", "target", "mass"], name="movements_out_of_lot"),
            models.Index(fields=["studio", "-id"], name="movements_newest_first"),
            models.Index(fields=["studio", "batch"], condition=~Q(batch=""), name="movements_of_batch"),
        ]

    def __str__(self) -> str:
        return f"{self.mass} g {self.reason}"


class ClaimState(models.TextChoices):
    OPEN = "open"
    SETTLED = "settled"
    RELEASED = "released"


class Claim(Scoped):
    """What a batch has spoken for of a lot: what it `asked` for, or what it has already `poured` if that is more.

    While the claim is open its `mass` counts as reserved, and `poured` is out of the container but not yet out of
    the book. `settled` is what was used when the claim ended.
    """

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="claims")
    asked = MassField()
    poured = MassField(default=0)
    mass = MassField()
    settled = MassField(default=0)
    state = models.CharField(max_length=10, choices=ClaimState, default=ClaimState.OPEN)
    purpose = models.CharField(max_length=20, help_text="Number of the batch it is for.")
    made_at = models.DateTimeField()
    touched_at = models.DateTimeField(help_text="Last weighing or change; a claim goes stale from here.")
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_why = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(mass__gt=0, asked__gte=0, poured__gte=0), name="claim_masses_sensible"
            ),
            models.CheckConstraint(
                condition=Q(mass__gte=F("asked")) & Q(mass__gte=F("poured")),
                name="claim_covers_asked_and_poured",
            ),
            models.CheckConstraint(
                condition=Q(settled__gte=0, settled__lte=F("mass")), name="claim_settled_within_mass"
            ),
            models.CheckConstraint(condition=Q(state__in=ClaimState.values), name="claim_state_known"),
            models.CheckConstraint(
                condition=Q(state=ClaimState.OPEN, ended_at__isnull=True)
                | (~Q(state=ClaimState.OPEN) & Q(ended_at__isnull=False)),
                name="claim_ends_when_not_open",
            ),
            models.UniqueConstraint(
                fields=["lot", "purpose"], condition=Q(state=ClaimState.OPEN), name="claim_open_once"
            ),
        ]
        indexes = [
            models.Index(fields=["lot"], condition=Q(state=ClaimState.OPEN), name="open_claims_of_lot"),
            models.Index(fields=["studio", "purpose"], name="claims_for_purpose"),
            models.Index(
                fields=["touched_at"], condition=Q(state=ClaimState.OPEN), name="open_claims_by_age"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.mass} g of lot {self.lot_id} for {self.purpose}"
