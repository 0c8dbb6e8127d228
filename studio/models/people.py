"""People, studios, and who is a member of which.

A person signs in; a member acts. Everything written names the member, so a record keeps saying who did it after
the person has left the studio.
"""

from decimal import Decimal
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from studio.kernel.errors import Forbidden


class PersonManager(BaseUserManager["Person"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "Person":
        person = Person(email=self.normalize_email(email).lower(), **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who can sign in, by e-mail address."""

    email = models.EmailField()
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)

    objects = PersonManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    class Meta:
        constraints = [models.UniqueConstraint(Lower("email"), name="person_email_once")]

    def __str__(self) -> str:
        return self.name


class Studio(models.Model):
    """The team whose stock and records these are, with the figures it has chosen for itself."""

    name = models.CharField(max_length=120)
    currency = models.CharField(max_length=3, default="EUR")
    weighing_tolerance = models.DecimalField(
        max_digits=10,
        decimal_places=9,
        default=Decimal("0.02"),
        help_text="Largest relative deviation of a weighing from its target.",
    )
    strength_tolerance = models.DecimalField(
        max_digits=10,
        decimal_places=9,
        default=Decimal("0.02"),
        help_text="Largest relative difference of actual from declared strength that needs no decision.",
    )
    claim_days = models.PositiveSmallIntegerField(
        default=14, help_text="Days after which a claim without a weighing is released."
    )
    document_days = models.PositiveSmallIntegerField(
        default=90, help_text="Days for which a paper that was made is kept."
    )
    two_person_check = models.BooleanField(
        default=False, help_text="A batch is released only when somebody who did not weigh it has checked it."
    )
    created_at = models.DateTimeField()
    edition = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(weighing_tolerance__gt=0, weighing_tolerance__lte=1),
                name="studio_weighing_tolerance_sensible",
            ),
            models.CheckConstraint(
                condition=models.Q(strength_tolerance__gt=0, strength_tolerance__lte=1),
                name="studio_strength_tolerance_sensible",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ReadersOnlyRead(Forbidden):
    """A member with the role reader may look at everything and change nothing."""

    code = "readers-only-read"
    title = "Readers only read"


class Role(models.TextChoices):
    OWNER = "owner"
    MAKER = "maker"
    READER = "reader"


class Member(models.Model):
    """A person in a studio. Never deleted: the records keep the name."""

    studio = models.ForeignKey(Studio, on_delete=models.PROTECT, related_name="members")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)
    joined_at = models.DateTimeField()
    left_at = models.DateTimeField(null=True, blank=True)

    is_authenticated = True

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["studio", "person"], name="member_once"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="member_role_known"),
        ]

    def __str__(self) -> str:
        return self.person.name

    @property
    def may_write(self) -> bool:
        return self.left_at is None and self.role in (Role.OWNER, Role.MAKER)
