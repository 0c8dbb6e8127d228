"""Proving that it is really the member who acts: the password again, as for every signature.

It stands outside of any other work, in a transaction of its own: a wrong password is noted in the history, and that
note must stay when the work it was meant for is not done. Guessing is slowed down.
"""

from dataclasses import dataclass
from datetime import datetime

from studio.actions.history import record
from studio.kernel.errors import Forbidden, TooOften
from studio.kernel.rate import count, forget
from studio.kernel.work import work
from studio.models import Member

TRIES = 5
WINDOW_SECONDS = 900


class WrongPassword(Forbidden):
    """The password that was entered again is not that of the member who acts. The try is noted in the history."""

    code = "wrong-password"
    title = "Not the right password"


class TooManyTries(TooOften):
    """The password was entered wrongly too often; even the right one has to wait now."""

    code = "too-many-tries"
    title = "Too many wrong passwords"


@dataclass(frozen=True, slots=True)
class Proof:
    """That a member has entered their password again, and when. Only `prove_password` gives one."""

    member: int
    at: datetime


def prove_password(*, by: Member, at: datetime, password: str, what: str) -> Proof:
    """The proof that `by` knows their password; a wrong one is noted as a try to do `what`.

    Raises `WrongPassword`, `TooManyTries`. A right one ends the counting.
    """
    key = f"proof:{by.person_id}"
    counted = count(key, window_seconds=WINDOW_SECONDS, now=at.timestamp())
    if counted.times > TRIES:
        minutes = -(-counted.seconds_left // 60)
        raise TooManyTries(
            f"The password was wrong {TRIES} times. Wait {minutes} minutes, then try again.",
            seconds=counted.seconds_left,
        )
    if not by.person.check_password(password):
        with work():
            record(
                by=by,
                at=at,
                subject="member",
                name=by.person.name,
                verb="wrong password",
                why=f"to {what}"[:200],
            )
        raise WrongPassword("This is not your password. Nothing was done, and the try is noted.")
    forget(key, window_seconds=WINDOW_SECONDS, now=at.timestamp())
    return Proof(member=by.pk, at=at)
