"""Answers kept under a client's key, so that what is sent again is answered as it was the first time."""

from django.db import models

from api.models.account import User


class KeyedAnswer(models.Model):
    """One key of one account: claimed while its request runs, answered from then on.

    After `valid_until` it is as if it were not there: a claim that lasts so long belongs to a process that
    died, an answer is forgotten. The body is kept as it was written, since an object would come back in
    another order. `fingerprint` covers address, body and the asker's rights, so that an answer is never
    repeated to who may see less than before.
    """

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=255)
    fingerprint = models.CharField(max_length=64)
    claim = models.UUIDField()
    valid_until = models.DateTimeField(db_index=True)
    status = models.PositiveSmallIntegerField(null=True)
    body = models.TextField(blank=True)
    headers = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "key"], name="a_key_stands_once_for_an_account")
        ]

    def __str__(self) -> str:
        return f"{self.key} of {self.user_id}"
