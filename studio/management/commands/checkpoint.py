"""`manage.py checkpoint`: make a checkpoint of every studio now, and print the codes to be written down."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from studio.actions.checkpoints import make_checkpoint, take_outside
from studio.kernel.checkpoint_files import file_of
from studio.models import Studio
from studio.queries.checkpoints import latest_checkpoint


class Command(BaseCommand):
    help = "Make a checkpoint of every studio in which something is new, and print the newest code of each."

    def handle(self, *args: Any, **options: Any) -> None:
        for studio in Studio.objects.order_by("id"):
            make_checkpoint(at=timezone.now(), studio=studio)
            take_outside(studio=studio)
            newest = latest_checkpoint(studio)
            told = f"{newest.code}  {newest.at:%Y-%m-%d %H:%M} UTC" if newest else "nothing to check yet"
            self.stdout.write(f"{studio.name}: {told}  ({file_of(studio.pk)})")
