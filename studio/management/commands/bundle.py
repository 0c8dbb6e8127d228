"""`manage.py bundle STUDIO FILE`: the sealed records of a studio with everything that is needed to verify them."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from studio.queries.bundle import write_bundle
from studio.queries.members import studio_called


class Command(BaseCommand):
    help = (
        "Write the records, seals, signatures and checkpoints of a studio to a zip file that verifies itself."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("studio", help="the studio's name, or its key")
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        with options["file"].open("xb") as file:
            write_bundle(studio_called(options["studio"]), file)
        self.stdout.write(f"Written to {options['file']}. Unpack it, and run: python3 verify_bundle.py .")
