"""Checkpoints as the service makes them, for tests that are rolled back and so never commit."""

from datetime import datetime

from studio.actions.checkpoints import make_checkpoint, take_outside
from studio.models import Checkpoint, Studio


def checkpoint(studio: Studio, at: datetime) -> Checkpoint:
    """A checkpoint of what is new, written outside at once."""
    made = make_checkpoint(at=at, studio=studio)
    assert made is not None
    take_outside(studio=studio)
    return made
