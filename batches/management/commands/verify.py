"""`manage.py verify`: prove the ledger, the batches and the sealed records from scratch."""

import sys
from itertools import chain
from typing import Any

from django.core.management.base import BaseCommand

from batches.queries.proof import all_findings
from inventory.models import Lot, Movement
from inventory.queries.proof import ledger_findings
from studio.models import SealedRecord


class Command(BaseCommand):
    help = "Recompute every balance, claim, content and seal, and say what does not hold and where."

    def handle(self, *args: Any, **options: Any) -> None:
        wrong = 0
        for finding in chain(ledger_findings(), all_findings()):
            wrong += 1
            self.stdout.write(f"{finding.where}: {finding.what}.")
        looked_at = (
            f"{Lot.objects.count()} lots, {Movement.objects.count()} movements, "
            f"{SealedRecord.objects.count()} sealed records"
        )
        if wrong:
            self.stdout.write(self.style.ERROR(f"{wrong} things do not hold ({looked_at})."))
            sys.exit(1)
        self.stdout.write(self.style.SUCCESS(f"Everything holds: {looked_at}."))
