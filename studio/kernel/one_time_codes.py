"""One-time codes by the clock (RFC 6238: six digits, SHA-1, thirty seconds), and the codes that stand in for them.

The secret that the service shares with a person's device is never stored. Like the secrets of webhooks it is reckoned
from a random nonce and the secret key of the service, so the database alone lets nobody in; whoever changes that key
makes every device's codes worthless, and recovery codes remain.
"""

import base64
import secrets
from datetime import datetime
from hmac import compare_digest

from cryptography.hazmat.primitives.hashes import SHA1
from cryptography.hazmat.primitives.twofactor.totp import TOTP
from django.utils.crypto import salted_hmac

from studio.kernel.secrets import digest

ISSUER = "Stillroom"
DIGITS = 6
STEP_SECONDS = 30
DRIFT_STEPS = 1
"""How many steps a device's clock may be off, either way; RFC 6238, section 5.2, recommends one."""
SECRET_BYTES = 20
"""160 bits, as RFC 4226, section 4, recommends."""
RECOVERY_CODES = 10
RECOVERY_LETTERS = 16
"""Of five random bits each, so that a plain SHA-256 keeps them safe."""


def shared_secret(nonce: str) -> bytes:
    """The secret of the device that was set up with this nonce."""
    return salted_hmac("stillroom.one-time-code", nonce, algorithm="sha256").digest()[:SECRET_BYTES]


def written(secret: bytes) -> str:
    """A secret as one types it into a device: base32 in groups of four."""
    return _grouped(base64.b32encode(secret).decode())


def set_up_address(secret: bytes, account: str) -> str:
    """The `otpauth:` address that a device reads from a square code."""
    return _codes(secret).get_provisioning_uri(account, ISSUER)


def code_at(secret: bytes, step: int) -> str:
    """The code of one step of thirty seconds since 1970."""
    return _codes(secret).generate(step * STEP_SECONDS).decode()


def step_at(at: datetime) -> int:
    """The step that a time lies in."""
    return int(at.timestamp()) // STEP_SECONDS


def fitting_step(secret: bytes, code: str, at: datetime, *, after: int) -> int | None:
    """The step whose code `code` is, near `at` and later than the last one used; None when there is none."""
    now = step_at(at)
    steps = range(max(now - DRIFT_STEPS, after + 1), now + DRIFT_STEPS + 1)
    fitting = [step for step in steps if compare_digest(code_at(secret, step).encode(), code.encode())]
    return fitting[0] if fitting else None


def new_recovery_codes() -> list[str]:
    """Fresh recovery codes, written in groups."""
    return [
        _grouped(base64.b32encode(secrets.token_bytes(RECOVERY_LETTERS * 5 // 8)).decode())
        for _ in range(RECOVERY_CODES)
    ]


def recovery_digest(code: str) -> str:
    """The digest a recovery code is kept under, however its groups and its case were typed."""
    return digest("".join(code.split()).replace("-", "").upper())


def _codes(secret: bytes) -> TOTP:
    return TOTP(secret, DIGITS, SHA1(), STEP_SECONDS)


def _grouped(text: str) -> str:
    return " ".join(text[start : start + 4] for start in range(0, len(text), 4))
