"""One-time codes that a person has asked to be asked for at sign-in, beside the password.

They are a person's and no studio's: whoever is in several signs in once.
"""

from django.db import models


class OneTimeCodes(models.Model):
    """A device that shows codes. Its secret is reckoned from the nonce and never stored; `confirmed_at` says since when
    it counts, `last_step` which code was used last, because each is used once.
    """

    person = models.OneToOneField("studio.Person", on_delete=models.CASCADE, related_name="codes")
    nonce = models.CharField(max_length=64)
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"one-time codes of {self.person}"


class RecoveryCode(models.Model):
    """A code on paper that stands in for the device, once; kept as a SHA-256."""

    codes = models.ForeignKey(OneTimeCodes, on_delete=models.CASCADE, related_name="recovery")
    digest = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["codes", "digest"], name="recovery_code_once")]

    def __str__(self) -> str:
        return "a recovery code"
