"""`manage.py demo`: fill the demo studio once, and say every time how to get into it."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from batches.demo.sheets import read_sheets
from batches.demo.sign_in import as_line, open_demo_studio


class Command(BaseCommand):
    help = (
        "Fill a studio with the invented data of fixtures/demo, unless it is there already. The last line is JSON: "
        "url, email, password and key. They are kept in demo.json in the folder of the data."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        sign_in = open_demo_studio(
            now=timezone.now(),
            sheets=read_sheets(settings.BASE_DIR / "fixtures" / "demo"),
            url=settings.ORIGIN,
            kept_in=settings.DATA_DIR / "demo.json",
            say=self.stdout.write,
        )
        self.stdout.write(as_line(sign_in))
