"""Log lines: each with the id of the request or job it belongs to, as text or as JSON, and without secrets."""

import json
import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

_belongs_to: ContextVar[str] = ContextVar("belongs_to", default="-")
_SECRETS = (
    (re.compile(r"\b(still|hook)_[A-Za-z0-9_-]{8,}"), r"\1_…"),
    (re.compile(r"(/password/)[^/\s]+/[^/\s]+"), r"\1…"),
    (re.compile(r"(?i)\b(bearer|basic)\s+[A-Za-z0-9+/=._~-]+"), r"\1 …"),
    (re.compile(r"(://[^/\s:@]*):[^/\s@]+@"), r"\1:…@"),
)


@contextmanager
def known_as(name: str) -> Iterator[None]:
    """Every line written inside carries this name."""
    before = _belongs_to.set(name)
    try:
        yield
    finally:
        _belongs_to.reset(before)


def current_name() -> str:
    """What lines written now carry; "-" outside of any request and job."""
    return _belongs_to.get()


def without_secrets(text: str) -> str:
    """`text` with keys, tokens and passwords taken out, wherever they came from."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


class Named(logging.Filter):
    """Gives every line the id of the request or job it belongs to."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.id = current_name()
        return True


class TextLine(logging.Formatter):
    """A line for people."""

    def format(self, record: logging.LogRecord) -> str:
        return without_secrets(super().format(record))


class JsonLine(logging.Formatter):
    """A line for machines: one JSON object with time, level, logger, id, message, and what else was given."""

    def format(self, record: logging.LogRecord) -> str:
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "id": getattr(record, "id", "-"),
            "message": without_secrets(record.getMessage()),
            **getattr(record, "told", {}),
        }
        if record.exc_info:
            line["traceback"] = without_secrets(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False)
