"""Turning one-time codes at sign-in on and off, and taking one.

Beginning shows the secret once; only the first code that fits turns them on, so nobody is locked out by a device that
read it wrongly. A code is taken under a lock on its row, so that one read over a shoulder does nothing a second time.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from studio.actions.history import record
from studio.actions.proving import Proof
from studio.actions.sessions import drop_sessions
from studio.kernel.errors import Conflict, Forbidden, TooOften
from studio.kernel.one_time_codes import (
    fitting_step,
    new_recovery_codes,
    recovery_digest,
    set_up_address,
    shared_secret,
    written,
)
from studio.kernel.rate import count
from studio.kernel.secrets import new_nonce
from studio.kernel.work import work
from studio.models import Member, OneTimeCodes, Person, RecoveryCode

SET_UP_WITHIN = timedelta(minutes=15)
LIMITS = ((5, 900), (30, 86_400))
"""Tries per window of seconds, the right ones included."""


class WrongCode(Forbidden):
    """The one-time code does not fit, is too old, or was used already."""

    code = "wrong-code"
    title = "Not the right code"


class TooManyCodes(TooOften):
    """One-time codes were tried too often; even the right one has to wait now."""

    code = "too-many-codes"
    title = "Too many codes tried"


class CodesAreOn(Conflict):
    """One-time codes are asked for already; another device takes the place of this one only after turning them off."""

    code = "codes-are-on"
    title = "One-time codes are on"


class CodesNotBegun(Conflict):
    """There is no device that waits for its first code, or it waited too long."""

    code = "codes-not-begun"
    title = "Begin anew"


@dataclass(frozen=True, slots=True)
class SetUp:
    """What a device is told, this once: the secret as typed, and as the address in a square code."""

    secret: str
    address: str


def begin_codes(*, by: Member, at: datetime, proof: Proof) -> SetUp:
    """Begin with a device; what it needs is told once. Raises `CodesAreOn`."""
    _refuse_other_proofs(by, proof)
    with work():
        if OneTimeCodes.objects.filter(person=by.person, confirmed_at__isnull=False).exists():
            raise CodesAreOn(
                "You are asked for one-time codes already. Turn them off to set up another device."
            )
        nonce = new_nonce()
        OneTimeCodes.objects.update_or_create(
            person=by.person, defaults={"nonce": nonce, "begun_at": at, "confirmed_at": None, "last_step": 0}
        )
    secret = shared_secret(nonce)
    return SetUp(secret=written(secret), address=set_up_address(secret, by.person.email))


def confirm_codes(*, by: Member, at: datetime, code: str, kept: str | None = None) -> list[str]:
    """Turn them on with the device's first code; returns the recovery codes, which are not kept.

    Sessions that began without a code end, but for the one with the key `kept`.
    Raises `WrongCode`, `TooManyCodes`, `CodesNotBegun`.
    """
    _slow_down(by.person, at)
    with work():
        codes = _held(by.person)
        if codes is None or codes.confirmed_at is not None or at - codes.begun_at > SET_UP_WITHIN:
            raise CodesNotBegun("No device waits for its first code now. Begin anew.")
        _take_code(codes, at, code)
        codes.confirmed_at = at
        codes.save(update_fields=["confirmed_at"])
        record(by=by, at=at, subject="member", name=by.person.name, verb="one-time codes on")
        drop_sessions(person=by.person, kept=kept)
        return _new_recovery(codes)


def renew_recovery_codes(*, by: Member, at: datetime, proof: Proof) -> list[str]:
    """Other recovery codes; those given out before are worth nothing. Raises `CodesNotBegun`."""
    _refuse_other_proofs(by, proof)
    with work():
        codes = _held(by.person)
        if codes is None or codes.confirmed_at is None:
            raise CodesNotBegun("You are not asked for one-time codes; turn them on first.")
        record(by=by, at=at, subject="member", name=by.person.name, verb="recovery codes renewed")
        return _new_recovery(codes)


def end_codes(*, by: Member, at: datetime, proof: Proof) -> None:
    """Sign in with the password alone from now on. Turning off what is off changes nothing."""
    _refuse_other_proofs(by, proof)
    with work():
        ended, _ = OneTimeCodes.objects.filter(person=by.person).delete()
        if ended:
            record(by=by, at=at, subject="member", name=by.person.name, verb="one-time codes off")


def drop_codes(*, person: Person) -> bool:
    """The operator's way for somebody who has lost both device and recovery codes; whether there were any."""
    with work():
        ended, _ = OneTimeCodes.objects.filter(person=person).delete()
    return bool(ended)


def pass_code(*, person: Person, at: datetime, code: str) -> None:
    """Take a one-time or recovery code at sign-in; it is used up. Raises `WrongCode`, `TooManyCodes`."""
    _slow_down(person, at)
    with work():
        codes = _held(person)
        if codes is None or codes.confirmed_at is None:
            return
        _take_code(codes, at, code, or_recovery=True)


def _refuse_other_proofs(by: Member, proof: Proof) -> None:
    if proof.member != by.pk:
        raise RuntimeError("A member does this with a proof of their own password.")


def _held(person: Person) -> OneTimeCodes | None:
    return OneTimeCodes.objects.select_for_update().filter(person=person).first()


def _take_code(codes: OneTimeCodes, at: datetime, code: str, *, or_recovery: bool = False) -> None:
    digits = "".join(code.split())
    if digits.isascii() and digits.isdigit():
        step = fitting_step(shared_secret(codes.nonce), digits, at, after=codes.last_step)
        if step is not None:
            codes.last_step = step
            codes.save(update_fields=["last_step"])
            return
    elif or_recovery:
        unused = RecoveryCode.objects.filter(codes=codes, digest=recovery_digest(code), used_at=None)
        if unused.update(used_at=at):
            return
    raise WrongCode(
        "This code does not fit. Each is used once and lasts half a minute; wait for the next one."
    )


def _new_recovery(codes: OneTimeCodes) -> list[str]:
    fresh = new_recovery_codes()
    RecoveryCode.objects.filter(codes=codes).delete()
    RecoveryCode.objects.bulk_create(
        [RecoveryCode(codes=codes, digest=recovery_digest(code)) for code in fresh]
    )
    return fresh


def _slow_down(person: Person, at: datetime) -> None:
    for tries, window in LIMITS:
        counted = count(f"code:{window}:{person.pk}", window_seconds=window, now=at.timestamp())
        if counted.times > tries:
            minutes = -(-counted.seconds_left // 60)
            raise TooManyCodes(
                f"Too many codes were tried. Wait {minutes} minutes, then try again.",
                seconds=counted.seconds_left,
            )
