from studio.models.answers import RememberedAnswer
from studio.models.history import HistoryEntry
from studio.models.keys import ApiKey, Scope
from studio.models.people import Member, Person, Role, Studio
from studio.models.records import SealedRecord
from studio.models.running import RunningNumber
from studio.models.scoped import Scoped, ScopedQuerySet

__all__ = [
    "ApiKey",
    "HistoryEntry",
    "Member",
    "Person",
    "RememberedAnswer",
    "Role",
    "RunningNumber",
    "Scope",
    "Scoped",
    "ScopedQuerySet",
    "SealedRecord",
    "Studio",
]
