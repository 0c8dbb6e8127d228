"""`manage.py import_studio FILE`: a studio that was exported elsewhere moves in here."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from studio.actions.moving_in import move_in
from studio.kernel.errors import Refusal
from studio.kernel.signing_key import known_keys


class Command(BaseCommand):
    help = (
        "Import an exported studio into this installation, which must be empty, and prove that it is equal."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with options["file"].open("rb") as file:
                studio = move_in(file=file)
        except (Refusal, OSError) as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"{studio} has moved in, equal to what was exported.")
        self.stdout.write(
            "Its checkpoints are believed by these public keys; compare them with what you know:"
        )
        for key in known_keys():
            self.stdout.write(f"  {key}")
        self.stdout.write("Nobody has a password yet: each sets a new one by “Password forgotten”.")
