"""Panels: blind tests whether two lots can be told apart, and from which strength on one nose perceives a material.

A panel has steps: one that compares two lots, or several that compare ever stronger stocks of a material with its
solvent. Each step is served several times; a serving is the tray one person gets, with numbers on it that only its
order resolves. Steps, servings, answers and looks only grow. Whether an answer is right is never stored: it follows
from the serving, and the serving's order is shown to nobody who sits while the panel is open.
"""

from django.db import models
from django.db.models import F, Q

from batches.calc.discrimination import METHODS
from batches.calc.panel_words import Asked, asked
from inventory.models import Lot
from studio.models import Member, Scoped


class PanelMethod(models.TextChoices):
    TRIANGLE = "triangle"
    DUO_TRIO = "duo-trio"
    PAIR = "pair"
    PAIR_EITHER_WAY = "pair-either-way"


class Panel(Scoped):
    """One blind test: its method, what it was planned to find, and how far it is. Open until `closed_at`."""

    title = models.CharField(max_length=120)
    method = models.CharField(max_length=16, choices=PanelMethod)
    attribute = models.CharField(max_length=60, blank=True, help_text="What a pair is asked for more of.")
    material = models.ForeignKey(
        "inventory.Material",
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="What a nose is tried on; none when two lots are compared.",
    )
    level = models.DecimalField(max_digits=5, decimal_places=4)
    power = models.DecimalField(max_digits=5, decimal_places=4, null=True)
    share = models.DecimalField(
        max_digits=5,
        decimal_places=4,
        null=True,
        help_text="The share of tellers it was planned to find with that power.",
    )
    planned = models.PositiveSmallIntegerField(help_text="Answers after which it closes by itself.")
    answered = models.PositiveSmallIntegerField(default=0)
    seed = models.CharField(max_length=32, help_text="From which orders and numbers were drawn.")
    note = models.TextField(blank=True)
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, null=True, related_name="+")
    ended_why = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(method__in=PanelMethod.values), name="panel_method_known"),
            models.CheckConstraint(
                condition=Q(level__gt=0, level__lt=1)
                & (Q(power__isnull=True) | Q(power__gt=0, power__lt=1))
                & (Q(share__isnull=True) | Q(share__gt=0, share__lte=1)),
                name="panel_chances_are_fractions",
            ),
            models.CheckConstraint(
                condition=Q(planned__gte=1, answered__lte=F("planned")), name="panel_answered_as_planned"
            ),
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, answered__lt=F("planned"), ended_by__isnull=True)
                | Q(closed_at__isnull=False, answered=F("planned"), ended_by__isnull=True)
                | Q(closed_at__isnull=False, answered__lt=F("planned"), ended_by__isnull=False)
                & ~Q(ended_why=""),
                name="panel_closed_when_answered_or_ended",
            ),
            models.CheckConstraint(
                condition=Q(method__in=("pair", "pair-either-way")) & ~Q(attribute="")
                | ~Q(method__in=("pair", "pair-either-way")) & Q(attribute=""),
                name="panel_pair_asks_for_more_of_something",
            ),
        ]
        indexes = [models.Index(fields=["studio", "-id"], name="panels_newest_first")]

    def __str__(self) -> str:
        return self.title

    @property
    def is_open(self) -> bool:
        """Whether answers are still awaited, and what is on the trays is therefore nobody's to know."""
        return self.closed_at is None

    @property
    def state(self) -> str:
        """open, closed (as planned), or ended (before)."""
        if self.closed_at is None:
            return "open"
        return "ended" if self.ended_by_id else "closed"

    @property
    def lots(self) -> list[Lot]:
        """What is compared, once each by number, which says nothing of who is A and who B."""
        lots = {lot.pk: lot for step in self.steps.all() for lot in (step.lot_a, step.lot_b)}
        return sorted(lots.values(), key=lambda lot: lot.number)

    @property
    def people(self) -> list[Member]:
        """Who sits, in the order they are read in."""
        return [sitter.member for sitter in self.sitters.all()]

    @property
    def asked(self) -> Asked:
        """What the person with a tray is asked."""
        return asked(METHODS[self.method], self.attribute)


class PanelStep(Scoped):
    """Two lots that are compared; with a strength when the second is a stock and the first its solvent. Append-only."""

    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="steps")
    position = models.PositiveSmallIntegerField()
    lot_a = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    lot_b = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="+")
    strength = models.DecimalField(max_digits=10, decimal_places=9, null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["panel", "position"], name="panel_step_position_once"),
            models.CheckConstraint(condition=~Q(lot_a=F("lot_b")), name="panel_step_compares_two"),
        ]

    def __str__(self) -> str:
        return f"step {self.position} of panel {self.panel_id}"


class PanelSitter(Scoped):
    """Somebody who sits in a panel, as often as they like. Append-only."""

    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="sitters")
    member = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["panel", "member"], name="panel_sitter_once")]

    def __str__(self) -> str:
        return f"{self.member_id} in panel {self.panel_id}"


class PanelServing(Scoped):
    """One tray: which lot (A or B) stands at each place, and the number on each. Append-only."""

    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="servings")
    step = models.ForeignKey(PanelStep, on_delete=models.PROTECT, related_name="servings")
    number = models.PositiveSmallIntegerField(help_text="Of the tray, from 1.")
    places = models.CharField(max_length=3, help_text="The lots from the left, such as ABA.")
    codes = models.JSONField(help_text="The blind number at each place; none on a reference.")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["panel", "number"], name="panel_serving_number_once")]

    def __str__(self) -> str:
        return f"tray {self.number} of panel {self.panel_id}"


class PanelAnswer(Scoped):
    """The one answer to a serving: the place that was chosen, from 0. Append-only."""

    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="answers")
    serving = models.OneToOneField(PanelServing, on_delete=models.PROTECT, related_name="answer")
    chosen = models.PositiveSmallIntegerField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(chosen__lte=2), name="panel_answer_names_a_place")]
        indexes = [models.Index(fields=["panel", "id"], name="answers_of_panel")]

    def __str__(self) -> str:
        return f"answer to {self.serving_id}"

    @property
    def told_code(self) -> int | None:
        """The number that was chosen, once it may be told: while the panel is open it would be a peek."""
        code: int | None = None if self.panel.is_open else self.serving.codes[self.chosen]
        return code


class PanelLook(Scoped):
    """A look at the result before the panel was finished: who, when, why, and after how many answers. Append-only."""

    panel = models.ForeignKey(Panel, on_delete=models.PROTECT, related_name="looks")
    answers = models.PositiveSmallIntegerField()
    why = models.TextField()
    by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(answers__gte=1) & ~Q(why=""), name="panel_look_says_why")
        ]
        indexes = [models.Index(fields=["panel", "id"], name="looks_at_panel")]

    def __str__(self) -> str:
        return f"look at panel {self.panel_id} after {self.answers}"
