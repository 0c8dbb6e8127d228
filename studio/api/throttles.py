"""How many requests one key, or one signed-in member, may make in a minute."""

from time import time as clock
from typing import Any

from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from studio.kernel.rate import count
from studio.models import ApiKey, Member

WINDOW_SECONDS = 60


class PerKey(BaseThrottle):
    """The rate of `STILLROOM_RATE`, counted per key, or per member for the session of the pages."""

    seconds_left: int | None = None

    def allow_request(self, request: Request, view: Any) -> bool:
        if isinstance(request.auth, ApiKey):
            who = f"key:{request.auth.pk}"
        elif isinstance(request.user, Member):
            who = f"member:{request.user.pk}"
        else:
            return True
        counted = count(f"rate:{who}", window_seconds=WINDOW_SECONDS, now=clock())
        self.seconds_left = counted.seconds_left
        return counted.times <= settings.REQUESTS_PER_MINUTE

    def wait(self) -> float | None:
        return self.seconds_left
