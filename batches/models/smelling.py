"""Smelling: strips that were dipped, what a nose noted, the studio's own words for it, and vials smelled blind.

A note is one person's on one lot at one time. Notes and what was said in them only grow; a correction is a new note
that names the one it corrects. In a blind set the code on a vial stands for a lot, which nobody but who set it up may
learn before it is revealed: `hiding` is the only way in which rows that may be blind are read for somebody.
"""

from typing import Self

from django.db import models
from django.db.models import Case, F, Q, When

from batches.calc.smelling import HIGHEST_INTENSITY, HIGHEST_LIKING
from studio.models import Member, Scoped, ScopedQuerySet


class IntensityScale(models.TextChoices):
    PLAIN = "plain"
    MAGNITUDE = "magnitude"


class BlindSet(Scoped):
    """Vials under three-digit codes, until who set them up reveals what they hold."""

    title = models.CharField(max_length=120)
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    revealed_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["studio", "-id"], name="blind_sets_newest_first")]

    def __str__(self) -> str:
        return self.title

    @property
    def is_revealed(self) -> bool:
        return self.revealed_at is not None

    def is_known_to(self, member: Member) -> bool:
        """Whether a member may learn what the codes stand for."""
        return self.revealed_at is not None or self.by_id == member.pk


class _HidingQuerySet(ScopedQuerySet):
    """Rows that may name a blind vial at `at_blind`."""

    at_blind = "blind"

    def hiding(self, member: Member) -> Self:
        """Each row with `told_lot` and `told_title`, which are empty where a code hides the lot from `member`."""
        known = self._known(member)
        told = {
            name: Case(When(known, then=F(f"lot__{column}")), default=None, output_field=models.CharField())
            for name, column in (("told_lot", "number"), ("told_title", "title"))
        }
        return self.annotate(**told)

    def _known(self, member: Member) -> Q:
        to = f"{self.at_blind}__" if self.at_blind else ""
        known = Q(**{f"{to}blind_set__revealed_at__isnull": False}) | Q(**{f"{to}blind_set__by": member})
        return known | Q(blind__isnull=True) if self.at_blind else known


class BlindVialQuerySet(_HidingQuerySet):
    at_blind = ""


class BlindVial(Scoped):
    """A code and the lot behind it. Append-only; rows are written by code, so that ids say nothing of lots."""

    blind_set = models.ForeignKey(BlindSet, on_delete=models.PROTECT, related_name="vials")
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    code = models.PositiveSmallIntegerField()

    objects = BlindVialQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["blind_set", "code"], name="blind_code_once"),
            models.CheckConstraint(
                condition=Q(code__gte=100, code__lte=999), name="blind_code_has_three_digits"
            ),
        ]

    def __str__(self) -> str:
        return str(self.code)


class StripQuerySet(_HidingQuerySet):
    def running(self) -> Self:
        return self.filter(ended_at__isnull=True)


class Strip(Scoped):
    """A paper strip that one person dipped into a lot: its clock runs from `dipped_at` until it is thrown away."""

    told_lot: str | None
    told_title: str | None

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    blind = models.ForeignKey(BlindVial, on_delete=models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    dipped_at = models.DateTimeField()
    remind_minutes = models.JSONField(default=list, help_text="Minutes after dipping, rising.")
    ended_at = models.DateTimeField(null=True)

    objects = StripQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("dipped_at")),
                name="strip_ends_after_dipping",
            )
        ]
        indexes = [
            models.Index(fields=["by", "id"], condition=Q(ended_at__isnull=True), name="strips_running"),
            models.Index(fields=["studio", "-id"], name="strips_newest_first"),
        ]

    def __str__(self) -> str:
        return f"strip {self.pk}"


class SmellingWord(Scoped):
    """A word of the studio's own list. One that was merged stays, and leads to the other."""

    text = models.CharField(max_length=60)
    key = models.CharField(max_length=60, help_text="The text as it is compared.")
    merged_into = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="merged")
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "key"], name="smelling_word_once"),
            models.CheckConstraint(
                condition=Q(merged_into__isnull=True) | ~Q(merged_into=F("id")),
                name="smelling_word_not_into_itself",
            ),
        ]

    def __str__(self) -> str:
        return self.text

    @property
    def now(self) -> "SmellingWord":
        """The word it is called by today."""
        return self.merged_into or self


class SmellingQuerySet(_HidingQuerySet):
    def seen_by(self, member: Member) -> Self:
        """What `member` may read: in a blind set nobody but who set it up reads another nose before it is revealed."""
        return self.hiding(member).filter(self._known(member) | Q(by=member))

    def known_to(self, member: Member) -> Self:
        """Only notes whose lot `member` may know: what is reckoned by lots is reckoned of these."""
        return self.hiding(member).filter(self._known(member))

    def standing(self) -> Self:
        """Notes that no later one corrects."""
        return self.filter(correction__isnull=True)


class Smelling(Scoped):
    """One person's note on one lot at one time. Append-only."""

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    blind = models.ForeignKey(BlindVial, on_delete=models.PROTECT, null=True, related_name="+")
    strip = models.ForeignKey(Strip, on_delete=models.PROTECT, null=True, related_name="notes")
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(help_text="When it was smelled.")
    recorded_at = models.DateTimeField()
    minutes = models.DecimalField(max_digits=7, decimal_places=1, null=True, help_text="Since dipping.")
    scale = models.CharField(max_length=10, choices=IntensityScale, blank=True)
    intensity = models.DecimalField(max_digits=4, decimal_places=2, null=True)
    liking = models.PositiveSmallIntegerField(null=True)
    text = models.TextField(blank=True)
    colour = models.CharField(max_length=60, blank=True)
    picture = models.CharField(max_length=160, blank=True)
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="correction")

    objects = SmellingQuerySet.as_manager()  # type: ignore[misc]

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(intensity__isnull=True, scale="")
                | Q(intensity__gte=0, intensity__lte=HIGHEST_INTENSITY, scale__in=IntensityScale.values),
                name="smelling_intensity_on_a_scale",
            ),
            models.CheckConstraint(
                condition=Q(liking__isnull=True) | Q(liking__gte=1, liking__lte=HIGHEST_LIKING),
                name="smelling_liking_of_nine",
            ),
            models.CheckConstraint(
                condition=Q(minutes__isnull=True) | Q(minutes__gte=0), name="smelling_after_dipping"
            ),
        ]
        indexes = [
            models.Index(fields=["lot", "id"], name="smellings_of_lot"),
            models.Index(fields=["studio", "-id"], name="smellings_newest_first"),
        ]

    def __str__(self) -> str:
        return f"note {self.pk}"

    @property
    def scale_used(self) -> str | None:
        """The scale of its intensity, where it has one."""
        return self.scale or None

    @property
    def words(self) -> list[str]:
        """Its words as they are called today, in the order they were said; of rows read with `said`."""
        return list(dict.fromkeys(one.word.now.text for one in self.said.all()))

    @property
    def words_said(self) -> list[str]:
        """Its words as they were said."""
        return [one.said for one in self.said.all()]


class SmellingSaid(Scoped):
    """A word in a note, and how it was called then. Append-only."""

    smelling = models.ForeignKey(Smelling, on_delete=models.PROTECT, related_name="said")
    word = models.ForeignKey(SmellingWord, on_delete=models.PROTECT, related_name="+")
    position = models.PositiveSmallIntegerField()
    said = models.CharField(max_length=60)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["smelling", "position"], name="smelling_said_position_once")
        ]

    def __str__(self) -> str:
        return self.said
