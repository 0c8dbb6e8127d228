"""Documents: papers that were asked for, made in the background, kept for a while, and then only remembered.

What a paper is made of is kept with it, frozen when it was asked for, so that it says what was so then, whenever it is
made, and making it twice gives the same bytes.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import models
from django.db.models import Q

from studio.models import Scoped


class DocumentKind(models.TextChoices):
    TICKET = "ticket"
    LABELS = "labels"
    RECALL = "recall"
    COUNT_LIST = "count list"
    SERVINGS = "servings"
    DAY_SHEET = "day sheet"


class DocumentState(models.TextChoices):
    WAITING = "waiting"
    MAKING = "making"
    MADE = "made"
    FAILED = "failed"
    REMOVED = "removed"


UNFINISHED = (DocumentState.WAITING, DocumentState.MAKING)
NUMBERED = (
    DocumentKind.TICKET,
    DocumentKind.RECALL,
    DocumentKind.COUNT_LIST,
    DocumentKind.SERVINGS,
    DocumentKind.DAY_SHEET,
)
"""Kinds whose prints are counted: each copy of a thing's paper bears its number and when it was asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedPaper:
    """A paper as it is asked for: its kind, what it is of, and everything it will be printed from, as plain JSON."""

    kind: DocumentKind
    subject: str
    name: str
    title: str
    content: Mapping[str, Any]


class Document(Scoped):
    """One paper. `content_digest` is over what it is made of, without its copy's number."""

    kind = models.CharField(max_length=12, choices=DocumentKind)
    subject = models.CharField(max_length=10, help_text="What sort of thing it is of.")
    name = models.CharField(max_length=40, help_text="The number or id of that thing.")
    title = models.CharField(max_length=200)
    copy = models.PositiveIntegerField(default=1)
    content = models.TextField(blank=True)
    content_digest = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=DocumentState, default=DocumentState.WAITING)
    progress = models.PositiveSmallIntegerField(default=0, help_text="In percent.")
    result = models.BinaryField(null=True)
    sha256 = models.CharField(max_length=64, blank=True)
    size = models.PositiveIntegerField(null=True, help_text="Bytes.")
    media_type = models.CharField(max_length=60, default="application/pdf")
    file_name = models.CharField(max_length=120)
    asked_by = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField()
    made_at = models.DateTimeField(null=True)
    removed_at = models.DateTimeField(null=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    not_before = models.DateTimeField(
        null=True, help_text="Until then it is being made, or rests after a failure."
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["studio", "kind", "content_digest", "copy"], name="document_once_per_content"
            ),
            models.CheckConstraint(condition=Q(kind__in=DocumentKind.values), name="document_kind_known"),
            models.CheckConstraint(condition=Q(state__in=DocumentState.values), name="document_state_known"),
            models.CheckConstraint(condition=Q(progress__lte=100), name="document_progress_in_percent"),
            models.CheckConstraint(
                condition=Q(state=DocumentState.MADE, result__isnull=False, made_at__isnull=False)
                | (~Q(state=DocumentState.MADE) & Q(result__isnull=True)),
                name="document_made_has_its_bytes",
            ),
        ]
        indexes = [
            models.Index(fields=["studio", "-id"], name="documents_newest_first"),
            models.Index(fields=["studio", "kind", "subject", "name"], name="documents_of_thing"),
            models.Index(
                fields=["not_before", "id"],
                condition=Q(state__in=UNFINISHED),
                name="documents_unfinished",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}, copy {self.copy}"

    @property
    def finished(self) -> bool:
        """Whether nothing more will happen to it by itself."""
        return self.state not in UNFINISHED
