"""Jobs are started and scheduled by name; every such name is that of a job."""

import ast
from collections.abc import Iterator

from celery import current_app
from django.conf import settings

from tests.architecture.source import Module, modules, parsed


def started(module: Module) -> Iterator[str]:
    """The names of jobs that a module starts."""
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "dispatch" and node.args:
            yield ast.literal_eval(node.args[0])


def test_every_job_that_is_started_or_scheduled_exists():
    assert [*started(parsed("dispatch('studio.jobs.nothing', 3)"))] == ["studio.jobs.nothing"]
    current_app.loader.import_default_modules()
    named = {name for module in modules() for name in started(module)}
    named |= {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    assert named
    assert named - set(current_app.tasks) == set()
