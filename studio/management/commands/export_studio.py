"""`manage.py export_studio STUDIO FILE`: everything of a studio, to leave with or to look into."""

import os
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from studio.queries.leaving_with import write_everything
from studio.queries.members import studio_called


class Command(BaseCommand):
    help = "Write every row of a studio (JSON lines and CSV) and its verifiable records to a zip file."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("studio", help="the studio's name, or its key")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        handle = os.open(options["file"], os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            write_everything(studio=studio_called(options["studio"]), at=timezone.now(), into=file)
        self.stdout.write(f"Written to {options['file']}; manage.py import_studio reads it elsewhere.")
