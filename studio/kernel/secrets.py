"""The secrets of API keys and of webhooks. Those of keys are random, recognisable, and checkable before anybody is asked.

A secret is `still_`, 32 random URL-safe characters (192 bits) and six more that are a checksum of them, so a
key that was cut off or mistyped is told apart from an unknown one without a look into the database, and a leaked
one is found by a simple search. Only its SHA-256 is ever kept; the secret is random enough to need no salt.

The secret of a webhook is needed whenever something is signed. It is reckoned from a random nonce and the secret key
of the service, so that the database alone gives none away; whoever changes that key changes these secrets with it.
"""

import base64
import hashlib
import hmac
import secrets
import string

from django.conf import settings
from django.utils.crypto import salted_hmac

MARK = "still_"
WEBHOOK_MARK = "hook_"
_RANDOM, _CHECK = 32, 6
_ALPHABET = set(string.ascii_letters + string.digits + "-_")
LISTED = 12
"""How many leading characters of a secret name it in lists: the mark and six of the random ones."""


def new_secret() -> str:
    """A fresh secret."""
    body = secrets.token_urlsafe(24)
    return f"{MARK}{body}{_checksum(body)}"


def well_formed(secret: str) -> bool:
    """Whether `secret` has the mark, the length, the letters and the checksum of one of ours."""
    body, check = secret[len(MARK) : -_CHECK], secret[-_CHECK:]
    return (
        secret.startswith(MARK)
        and len(body) == _RANDOM
        and _ALPHABET.issuperset(body)
        and check == _checksum(body)
    )


def digest(secret: str) -> str:
    """The hexadecimal SHA-256 under which a secret is kept."""
    return hashlib.sha256(secret.encode()).hexdigest()


def keyed_digest(content: bytes) -> str:
    """A hexadecimal digest of what may hold a password: without the service's key it cannot be guessed at."""
    return hmac.new(settings.SECRET_KEY.encode(), content, hashlib.sha256).hexdigest()


def new_nonce() -> str:
    """What one webhook's secret is reckoned from."""
    return secrets.token_urlsafe(24)


def webhook_secret(nonce: str) -> str:
    """The secret of the webhook with this nonce: `hook_` and 43 characters that stand for 256 bits."""
    reckoned = salted_hmac("stillroom.webhook", nonce, algorithm="sha256").digest()
    return WEBHOOK_MARK + base64.urlsafe_b64encode(reckoned).decode().rstrip("=")


def _checksum(body: str) -> str:
    return hashlib.sha256(f"{MARK}{body}".encode()).hexdigest()[:_CHECK]
