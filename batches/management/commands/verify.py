"""`manage.py verify`: prove the ledger, the batches, the sealed records and the checkpoints from scratch."""

import sys
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from batches.queries.proof import everything_found
from inventory.models import Lot, Movement
from inventory.queries.proof import Finding
from studio.models import Checkpoint, SealedRecord, Studio
from studio.queries.checkpoints import checkpoint_called


class Command(BaseCommand):
    help = "Recompute every balance, claim, content, seal and checkpoint; say what does not hold and where."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--checkpoint",
            action="append",
            default=[],
            metavar="CODE",
            help="a code from a paper or a letter that must still be one of the checkpoints; may be given again",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = 0
        for finding in chain(_unknown(options["checkpoint"]), everything_found()):
            wrong += 1
            self.stdout.write(f"{finding.where}: {finding.what}.")
        looked_at = (
            f"{Lot.objects.count()} lots, {Movement.objects.count()} movements, "
            f"{SealedRecord.objects.count()} sealed records, {Checkpoint.objects.count()} checkpoints"
        )
        if wrong:
            self.stdout.write(self.style.ERROR(f"{wrong} things do not hold ({looked_at})."))
            sys.exit(1)
        self.stdout.write(self.style.SUCCESS(f"Everything holds: {looked_at}."))


def _unknown(codes: Sequence[str]) -> Iterator[Finding]:
    """The codes that no checkpoint of any studio has."""
    studios = list(Studio.objects.order_by("id"))
    for code in codes:
        if not any(checkpoint_called(studio, code) for studio in studios):
            yield Finding(
                None, f"checkpoint {code}", "is none of this installation: its records are not those of then"
            )
