"""The key of this installation: Ed25519 (RFC 8032), made once, kept beside the data and outside the database.

Whoever can write the database but not this file cannot make a checkpoint that the installation takes for its own.
The public half goes out with every export. Its list grows: a new private key does not turn what the old one signed
into forgeries.
"""

import base64
import os
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured

KEY_FILE = "checkpoint-key"
KNOWN_KEYS = "public-keys"


def sign(text: str) -> tuple[str, str]:
    """The signature of `text` and the public key it holds under, both in base64."""
    key = _private_key()
    public = _base64(key.public_key().public_bytes_raw())
    _note_key(public)
    return _base64(key.sign(text.encode())), public


def signed_by(text: str, signature: str, public: str) -> bool:
    """Whether `signature` is that of `text` under the public key, both in base64."""
    try:
        key = Ed25519PublicKey.from_public_bytes(base64.b64decode(public, validate=True))
        key.verify(base64.b64decode(signature, validate=True), text.encode())
    except (InvalidSignature, ValueError):
        return False
    return True


def known_keys() -> list[str]:
    """The public keys this installation has signed with, or has taken over with a studio, and its own, oldest first."""
    keys = _noted_keys()
    if settings.CHECKPOINT_KEY or (_folder().parent / KEY_FILE).exists():
        keys.append(_base64(_private_key().public_key().public_bytes_raw()))
    return list(dict.fromkeys(keys))


def take_over_key(public: str) -> None:
    """Hold for sound what another installation signed before its studio moved in here."""
    _note_key(public)


def _private_key() -> Ed25519PrivateKey:
    told = settings.CHECKPOINT_KEY
    if told:
        try:
            return Ed25519PrivateKey.from_private_bytes(base64.b64decode(told, validate=True))
        except ValueError:
            raise ImproperlyConfigured(
                "STILLROOM_CHECKPOINT_KEY is not 32 bytes in base64; leave it empty to have a key made."
            ) from None
    file = _folder().parent / KEY_FILE
    if not file.exists():
        _make_key(file)
    return Ed25519PrivateKey.from_private_bytes(base64.b64decode(file.read_text("ascii")))


def _make_key(file: Path) -> None:
    """Write a new key that only its owner reads; of two processes at once the first one's stays."""
    file.parent.mkdir(parents=True, exist_ok=True)
    draft = file.with_name(f"{file.name}.{os.getpid()}")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "w", encoding="ascii") as writing:
        writing.write(_base64(Ed25519PrivateKey.generate().private_bytes_raw()) + "\n")
        writing.flush()
        os.fsync(writing.fileno())
    try:
        os.link(draft, file)
    except FileExistsError:
        pass
    finally:
        draft.unlink()


def _note_key(public: str) -> None:
    if public in _noted_keys():
        return
    _folder().mkdir(parents=True, exist_ok=True)
    with (_folder() / KNOWN_KEYS).open("a", encoding="ascii") as file:
        file.write(public + "\n")


def _noted_keys() -> list[str]:
    file = _folder() / KNOWN_KEYS
    return file.read_text("ascii").split() if file.exists() else []


def _folder() -> Path:
    return Path(settings.CHECKPOINTS)


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode()
