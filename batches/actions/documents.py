"""Asking for papers, making them once, and letting go of old ones.

A paper is made once per content: whoever asks for the same thing again, unchanged, gets the document that is there.
Another copy can be asked for expressly; it gets the next number, which is part of what is printed, so that
downloading a copy again gives the same bytes and a new print is known from the old. Whoever makes a document holds it
for a time; when that runs out, because a worker died, another takes it up.
"""

import hashlib
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max, Q

from batches.models import Batch
from batches.models.documents import NUMBERED, Document, DocumentKind, DocumentState, WantedPaper
from studio.actions.history import record
from studio.kernel.background import dispatch
from studio.kernel.seals import canonical
from studio.kernel.work import work
from studio.models import Member, Studio

HOLD = timedelta(minutes=3)
REST = timedelta(seconds=30)
MOST_ATTEMPTS = 5
LONGEST_FILE_NAME = 120


def ask_for(*, by: Member, now: datetime, wanted: WantedPaper, again: bool = False) -> Document:
    """The document of this content: the one that is there, or a new one that is made in the background.

    `again` asks for another copy of a kind whose copies are numbered.
    """
    text = canonical(dict(wanted.content))
    digest = hashlib.sha256(f"{wanted.kind}\n{text}".encode()).hexdigest()
    with work():
        if wanted.kind == DocumentKind.TICKET:
            Batch.objects.select_for_update(no_key=True, of=("self",)).one(
                by.studio_id, "batch", number=wanted.name
            )
        same = Document.objects.of(by.studio_id).filter(kind=wanted.kind, content_digest=digest)
        found = same.defer("content", "result").order_by("-copy", "-id").first()
        if found is None or (again and wanted.kind in NUMBERED):
            found = _asked_anew(by, now, wanted, text, digest)
        elif found.state in (DocumentState.FAILED, DocumentState.REMOVED):
            _revive(found, text)
        if not found.finished:
            dispatch("batches.jobs.make_document", found.pk)
    return found


def _asked_anew(by: Member, now: datetime, wanted: WantedPaper, text: str, digest: str) -> Document:
    copy = _next_copy(by, wanted) if wanted.kind in NUMBERED else 1
    told: dict[str, Any] = {"kind": wanted.kind, "content_digest": digest, "copy": copy}
    try:
        with transaction.atomic():
            made: Document = Document.objects.create(
                studio_id=by.studio_id,
                subject=wanted.subject,
                name=wanted.name,
                title=wanted.title[:200],
                content=text,
                file_name=_file_name(wanted, copy),
                asked_by=by,
                asked_at=now,
                **told,
            )
    except IntegrityError:
        # Somebody asked for the same at the same moment.
        return Document.objects.get(studio_id=by.studio_id, **told)
    record(
        by=by,
        at=now,
        subject=wanted.subject,
        name=wanted.name,
        verb=f"{wanted.kind} asked for",
        changes={"copy": [None, copy]},
    )
    return made


def _next_copy(by: Member, wanted: WantedPaper) -> int:
    of_thing = Document.objects.of(by.studio_id).filter(
        kind=wanted.kind, subject=wanted.subject, name=wanted.name
    )
    last: int = of_thing.aggregate(last=Max("copy"))["last"] or 0
    return last + 1


def _file_name(wanted: WantedPaper, copy: int) -> str:
    """Letters, digits and hyphens only, since it goes into a header and onto disks."""
    copied = f"-copy-{copy}" if wanted.kind in NUMBERED else ""
    text = f"{wanted.kind}-{wanted.name}{copied}".replace(" ", "-")
    safe = "".join(letter for letter in text if letter.isascii() and (letter.isalnum() or letter == "-"))
    return f"{safe[: LONGEST_FILE_NAME - 4]}.pdf"


def _revive(document: Document, text: str) -> None:
    document.state = DocumentState.WAITING
    document.content = text
    document.attempts = document.progress = 0
    document.not_before = document.removed_at = document.made_at = None
    document.save(
        update_fields=[
            "state", "content", "attempts", "progress", "not_before", "removed_at", "made_at",
        ]
    )  # fmt: skip


def take_up(*, now: datetime, document_id: int) -> Document | None:
    """The document, to be made by the caller; None when it is made, given up, or in somebody else's hands."""
    with work():
        free = Document.objects.filter(
            Q(not_before__isnull=True) | Q(not_before__lte=now),
            pk=document_id,
            state__in=(DocumentState.WAITING, DocumentState.MAKING),
        )
        if free.filter(attempts__gte=MOST_ATTEMPTS).update(state=DocumentState.FAILED, not_before=None):
            return None
        taken = free.update(
            state=DocumentState.MAKING, attempts=F("attempts") + 1, progress=5, not_before=now + HOLD
        )
        return Document.objects.select_related("asked_by__person").get(pk=document_id) if taken else None


def tell_progress(*, now: datetime, document: Document, percent: int) -> None:
    """Note how far the making is, and hold on to it."""
    with work():
        _held(document).update(progress=percent, not_before=now + HOLD)


def keep_result(*, now: datetime, document: Document, data: bytes) -> bool:
    """Keep what was made; False when the document has meanwhile passed into other hands."""
    changes: Mapping[str, Any] = {
        "state": DocumentState.MADE,
        "progress": 100,
        "result": data,
        "sha256": hashlib.sha256(data).hexdigest(),
        "size": len(data),
        "made_at": now,
        "not_before": None,
    }
    with work():
        return bool(_held(document).update(**changes))


def note_failure(*, now: datetime, document: Document) -> None:
    """Let it rest before the next attempt, or give it up after the last."""
    last = document.attempts >= MOST_ATTEMPTS
    state = DocumentState.FAILED if last else DocumentState.WAITING
    with work():
        _held(document).update(state=state, progress=0, not_before=None if last else now + REST)


def _held(document: Document) -> Any:
    """The document as long as it is in the hands it was taken up by."""
    return Document.objects.filter(pk=document.pk, state=DocumentState.MAKING, attempts=document.attempts)


def remove_old_documents(*, now: datetime, studio: Studio) -> int:
    """Let go of the bytes and contents of documents past the studio's days, keeping that they were; how many."""
    old = Document.objects.of(studio).filter(
        state__in=(DocumentState.MADE, DocumentState.FAILED),
        asked_at__lt=now - timedelta(days=studio.document_days),
    )
    with work():
        return old.exclude(made_at__gte=now - timedelta(days=studio.document_days)).update(
            state=DocumentState.REMOVED, result=None, content="", progress=0, removed_at=now
        )
