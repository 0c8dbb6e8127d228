"""Keys for the API. The secret is shown once and kept only as a SHA-256; its first characters name it in lists."""

from django.db import models


class Scope(models.TextChoices):
    READ = "read"
    WRITE = "write"
    ADMIN = "admin"


class ApiKey(models.Model):
    """A bearer key of one member, with a name, a scope and an end."""

    member = models.ForeignKey("studio.Member", on_delete=models.PROTECT, related_name="keys")
    name = models.CharField(max_length=80)
    prefix = models.CharField(max_length=16)
    digest = models.CharField(max_length=64, unique=True)
    scope = models.CharField(max_length=10, choices=Scope, default=Scope.WRITE)
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(scope__in=Scope.values), name="key_scope_known")
        ]

    def __str__(self) -> str:
        return f"{self.prefix}… ({self.name})"
