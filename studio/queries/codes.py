"""Whether a person is asked for one-time codes, and how many recovery codes they have left."""

from studio.models import OneTimeCodes, Person, RecoveryCode


def has_codes(person: Person) -> bool:
    """Whether signing in needs a one-time code."""
    return OneTimeCodes.objects.filter(person=person, confirmed_at__isnull=False).exists()


def recovery_codes_left(person: Person) -> int:
    """How many recovery codes were not used yet."""
    return RecoveryCode.objects.filter(codes__person=person, used_at=None).count()
