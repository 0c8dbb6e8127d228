"""The service's own settings for measuring: the floors are served beside it, nothing is held to a rate, no job runs."""

from studio.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.floors"
REQUESTS_PER_MINUTE = 10**9
ALLOWED_HOSTS = ["*"]
JOBS = "nobody"
