"""For whatever keeps the service running: whether it lives, and whether it can serve."""

from celery import current_app
from django.conf import settings
from django.core.cache import cache
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from kombu.exceptions import OperationalError
from prometheus_client import CONTENT_TYPE_LATEST
from redis.exceptions import RedisError

from studio.kernel.metrics import Gauges, written
from studio.queries.figures import figures_of_the_service


@never_cache
@require_safe
def alive(request: HttpRequest) -> HttpResponse:
    """The process answers. Touches nothing."""
    return HttpResponse("alive\n", content_type="text/plain")


@never_cache
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Whether it can serve: 503 unless the database is reached and migrated.

    Without cache or broker it still serves: rates are counted per process and jobs wait. So that is told, and does not
    take the service away from its people.
    """
    found = {"database": database_state(), "cache": cache_state(), "broker": broker_state()}
    status = 200 if found["database"] == "ready" else 503
    return JsonResponse(found, status=status)


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Figures for Prometheus: for who has the operator's token, or, without one, for this machine alone.

    To anybody else there is nothing here.
    """
    if not _may_read_metrics(request):
        raise Http404
    gauges = Gauges(figures_of_the_service(timezone.now()))
    return HttpResponse(written(gauges), content_type=CONTENT_TYPE_LATEST)


def _may_read_metrics(request: HttpRequest) -> bool:
    if settings.METRICS_TOKEN:
        given = request.headers.get("Authorization", "")
        return constant_time_compare(given, f"Bearer {settings.METRICS_TOKEN}")
    # What a proxy passes on comes from this machine too, but says on whose behalf.
    passed_on = {"X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Forwarded", "X-Real-Ip", "Via"}
    return request.META.get("REMOTE_ADDR") in ("127.0.0.1", "::1") and not passed_on & {*request.headers}


def database_state() -> str:
    try:
        executor = MigrationExecutor(connection)
        unapplied = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return "not reached"
    return "not migrated" if unapplied else "ready"


def cache_state() -> str:
    try:
        cache.set("ready", "yes", timeout=10)
        return "ready" if cache.get("ready") == "yes" else "not reached"
    except (OSError, RedisError):
        return "not reached"


def broker_state() -> str:
    if settings.JOBS != "workers":
        return "none needed"
    try:
        with current_app.connection_for_write() as connection:
            connection.ensure_connection(max_retries=1, interval_start=0, timeout=2)
        return "ready"
    except (OSError, OperationalError):
        return "not reached"
