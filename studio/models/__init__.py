from studio.models.alerts import Alert, AlertMail, MailChoice
from studio.models.answers import RememberedAnswer
from studio.models.codes import OneTimeCodes, RecoveryCode
from studio.models.history import HistoryEntry
from studio.models.invitations import Invitation
from studio.models.jobs import JobRun
from studio.models.keys import ApiKey, Scope
from studio.models.outbox import Attempt, Delivery, DeliveryState, Event, Webhook
from studio.models.people import Member, Person, Role, Studio
from studio.models.records import Checkpoint, Meaning, SealedRecord, Signature
from studio.models.running import RunningNumber
from studio.models.scoped import Scoped, ScopedQuerySet
from studio.models.sessions import BrowserSession

__all__ = [
    "Alert",
    "AlertMail",
    "ApiKey",
    "Attempt",
    "BrowserSession",
    "Checkpoint",
    "Delivery",
    "DeliveryState",
    "Event",
    "HistoryEntry",
    "Invitation",
    "JobRun",
    "MailChoice",
    "Meaning",
    "Member",
    "OneTimeCodes",
    "Person",
    "RecoveryCode",
    "RememberedAnswer",
    "Role",
    "RunningNumber",
    "Scope",
    "Scoped",
    "ScopedQuerySet",
    "SealedRecord",
    "Signature",
    "Studio",
    "Webhook",
]
