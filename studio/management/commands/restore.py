"""`manage.py restore FILE`: everything as it was when the backup was made. Stop the service first."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from studio.actions.backing_up import restore
from studio.kernel.errors import Refusal


class Command(BaseCommand):
    help = "Put database and checkpoints back as a backup has them. Stop the service first."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--replace", action="store_true", help="give up what the database holds now")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            restore(at=timezone.now(), file=options["file"], replace=options["replace"])
        except (Refusal, OSError) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write("Restored. Run manage.py migrate, then manage.py verify, then start the service.")
