"""The Celery application: settings by the `CELERY_` prefix, tasks found in each floor's `jobs.py`."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

app = Celery("stillroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")
