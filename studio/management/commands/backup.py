"""`manage.py backup FILE`: a backup of everything, while the service runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from studio.actions.backing_up import back_up
from studio.kernel.errors import Refusal


class Command(BaseCommand):
    help = "Write the database and the checkpoints to a tar file; the service may go on meanwhile."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            back_up(at=timezone.now(), to=options["file"])
        except (Refusal, OSError) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"Written to {options['file']}. Keep it on another machine.")
