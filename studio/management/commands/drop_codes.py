"""`manage.py drop_codes ADDRESS`: let somebody in again who has lost the device and the recovery codes."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from studio.actions.codes import drop_codes
from studio.models import Person


class Command(BaseCommand):
    help = "Turn one-time codes off for the person with this e-mail address; make sure that it is really they who ask."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("address")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(email=options["address"].strip().lower()).first()
        if person is None:
            raise CommandError(f"Nobody signs in as {options['address']}.")
        dropped = drop_codes(person=person)
        self.stdout.write(f"{person} signs in with the password alone{' now' if dropped else ', as before'}.")
