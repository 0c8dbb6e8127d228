"""Background work on batches: thin jobs around actions, each safe to run twice."""

import json
import logging
from collections import defaultdict

from django.utils import timezone

from batches.actions.documents import keep_result, note_failure, remove_old_documents, take_up, tell_progress
from batches.actions.reserving import release_stale_batch, stale_batches
from batches.calc.proof_causes import PROOF, does_not_hold
from batches.papers.kept import print_kept
from batches.papers.printing import Copy
from batches.queries.documents import left_undone
from batches.queries.proof import found_twice
from studio.actions.alerts import keep_alerts
from studio.jobs import job
from studio.kernel.background import dispatch
from studio.models import Alert, Studio

log = logging.getLogger(__name__)


@job()
def release_stale_claims() -> int:
    """Let go of claims that saw no weighing for their studio's chosen days; returns how many batches it sent back."""
    now = timezone.now()
    return sum(
        release_stale_batch(now=now, batch=batch)
        for studio in Studio.objects.order_by("id")
        for batch in stale_batches(studio=studio, now=now)
    )


@job()
def prove_everything() -> int:
    """Prove all that is recorded and tell each studio what of its own does not hold; returns how many things do not."""
    now = timezone.now()
    known = list(Alert.objects.open().filter(kind=PROOF).order_by("id"))
    faults: dict[int, list[tuple[str, str]]] = defaultdict(list)
    findings = found_twice()
    for one in findings:
        if one.studio is not None:
            faults[one.studio].append((one.where, one.what))
        log.error("studio %s: %s: %s.", one.studio, one.where, one.what)
    concerned = {alert.studio_id for alert in known} | faults.keys()
    for studio in Studio.objects.filter(pk__in=concerned).order_by("id"):
        here = faults.get(studio.pk)
        causes = [does_not_hold(studio=studio.name, faults=here)] if here else []
        told = [alert for alert in known if alert.studio_id == studio.pk]
        keep_alerts(studio=studio, at=now, known=told, found={PROOF: causes})
    return len(findings)


@job()
def make_document(document_id: int) -> bool:
    """Make a document that waits, unless somebody else has it in hand; whether it was made here."""
    document = take_up(now=timezone.now(), document_id=document_id)
    if document is None:
        return False
    copy = Copy(document.copy, document.asked_by.person.name, document.asked_at)

    def told(percent: int) -> None:
        tell_progress(now=timezone.now(), document=document, percent=percent)

    try:
        data = print_kept(document.kind, json.loads(document.content), copy, told)
    except Exception:
        log.exception("Document %s could not be made, attempt %s.", document.pk, document.attempts)
        note_failure(now=timezone.now(), document=document)
        return False
    return keep_result(now=timezone.now(), document=document, data=data)


@job()
def make_documents_left_undone() -> int:
    """Take up documents that no nudge reached, or whose maker died; returns how many."""
    left = left_undone(now=timezone.now())
    for document_id in left:
        dispatch("batches.jobs.make_document", document_id)
    return len(left)


@job()
def remove_old_documents_of_all() -> int:
    """Let go of documents past their studio's days for keeping them; returns how many."""
    now = timezone.now()
    return sum(remove_old_documents(now=now, studio=studio) for studio in Studio.objects.order_by("id"))
