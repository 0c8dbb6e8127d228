"""For whatever keeps the service running: whether it lives, and whether it can serve."""

from django.core.cache import cache
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@never_cache
@require_safe
def alive(request: HttpRequest) -> HttpResponse:
    """The process answers. Touches nothing."""
    return HttpResponse("alive\n", content_type="text/plain")


@never_cache
@require_safe
def ready(request: HttpRequest) -> HttpResponse:
    """Database reached and migrated, cache reached; 503 with what is missing otherwise."""
    found = {"database": database_state(), "cache": cache_state()}
    status = 200 if set(found.values()) == {"ready"} else 503
    return JsonResponse(found, status=status)


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
    except (OSError, ConnectionError):
        return "not reached"
