"""The Celery application: settings by the `CELERY_` prefix, tasks found in each floor's `jobs.py`."""

import os
from typing import Any

from celery import Celery
from kombu.transport import redis

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")


class KeepsGoing(redis.QoS):
    """What a worker holds of unfinished messages; when the broker goes away, it lets go of them and goes on.

    As it comes (kombu 5.7.0), it then acknowledges them, or gives them back, over the connection that was lost, and the
    whole worker ends. They come back by themselves after the visibility timeout; what must not wait stands in rows.
    """

    def ack(self, delivery_tag: Any) -> None:
        if self._is_lost:
            self._delivered.pop(delivery_tag, None)
        else:
            super().ack(delivery_tag)

    def reject(self, delivery_tag: Any, requeue: bool = False) -> None:
        if self._is_lost:
            self._delivered.pop(delivery_tag, None)
        else:
            super().reject(delivery_tag, requeue=requeue)

    def restore_unacked(self, client: Any = None) -> None:
        if self._is_lost:
            self._delivered.clear()
        else:
            super().restore_unacked(client)

    @property
    def _is_lost(self) -> bool:
        return self.channel.connection is None or self.channel.connection.client is None


redis.Channel.QoS = KeepsGoing
app = Celery("stillroom")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(related_name="jobs")
