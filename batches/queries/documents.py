"""Finding documents again, and handing out what was made."""

import json
from datetime import datetime
from typing import Any

from django.db.models import Q

from batches.models.documents import UNFINISHED, Document, DocumentKind, DocumentState
from studio.kernel.errors import Conflict, NotFound
from studio.models import ScopedQuerySet, Studio


class DocumentNotMade(Conflict):
    """The document is still being made, or could not be made."""

    code = "document-not-made"
    title = "Not made yet"


class DocumentRemoved(NotFound):
    """The document was removed when the studio's days for keeping it were over."""

    code = "document-removed"
    title = "Removed"


def documents_of(studio: Studio) -> ScopedQuerySet[Document]:
    """All documents with the names a list shows, without their bytes; one statement."""
    rows: ScopedQuerySet[Document] = Document.objects.of(studio)
    return rows.select_related("asked_by__person").defer("content", "result")


def document_at(*, studio: Studio, document_id: int) -> Document:
    """One document without its bytes; raises `NoSuchThing`."""
    found: Document = documents_of(studio).one(studio, "document", id=document_id)
    return found


def made_document(*, studio: Studio, document_id: int) -> Document:
    """One document with its bytes; raises `NoSuchThing`, `DocumentNotMade`, `DocumentRemoved`."""
    found: Document = Document.objects.of(studio).defer("content").one(studio, "document", id=document_id)
    if found.state == DocumentState.REMOVED:
        raise DocumentRemoved(
            "This document was removed after the studio's days for keeping it. Ask for it anew."
        )
    if found.state == DocumentState.FAILED:
        raise DocumentNotMade("This document could not be made. Ask for it once more.")
    if found.state != DocumentState.MADE:
        raise DocumentNotMade(
            f"This document is still being made ({found.progress} %). Try again in a moment."
        )
    return found


def prints_of(*, studio: Studio, kind: DocumentKind, name: str) -> list[Document]:
    """Every print of a thing, the newest first; one statement."""
    return list(documents_of(studio).filter(kind=kind, name=name).order_by("-copy", "-id"))


def left_undone(*, now: datetime) -> list[int]:
    """Documents of all studios that wait, or whose maker has let go of them; oldest first."""
    free = Document.objects.filter(Q(not_before__isnull=True) | Q(not_before__lte=now), state__in=UNFINISHED)
    return list(free.order_by("id").values_list("id", flat=True)[:1000])


def last_layout(studio: Studio) -> dict[str, Any]:
    """The layout of the labels printed last, as it was asked for; empty when there were none. One statement."""
    last = (
        Document.objects.of(studio)
        .filter(kind=DocumentKind.LABELS)
        .exclude(content="")
        .order_by("-id")
        .first()
    )
    found: dict[str, Any] = json.loads(last.content).get("layout", {}) if last else {}
    return found
