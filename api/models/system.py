"""Systems that sign in by themselves, and the tokens they were given."""

from django.db import models

from api.models.account import User


class SystemClient(models.Model):
    """A system's credentials. What it may do is its account's role, narrowed to `scopes`.

    The secret is stored as a hash only, and so is every token: whoever reads the table can sign in with
    neither. Both are 256 random bits, so a plain SHA-256 is enough; a slow hash protects what people choose.
    """

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="client")
    client_id = models.CharField(max_length=40, unique=True)
    secret_hash = models.CharField(max_length=64)
    # Words with spaces between, as the protocol writes them.
    scopes = models.CharField(max_length=200)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.client_id


class SystemToken(models.Model):
    """What a system shows with each request until it expires or is revoked."""

    client = models.ForeignKey(SystemClient, on_delete=models.CASCADE, related_name="tokens")
    token_hash = models.CharField(max_length=64, unique=True)
    scopes = models.CharField(max_length=200)
    issued_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_at__gt=models.F("issued_at")), name="token_expires_after_its_issue"
            )
        ]

    def __str__(self) -> str:
        return f"{self.client_id} until {self.expires_at}"
