"""Refusals of backing up and restoring."""

from inventory.errors import SpanstockError


class BackupRefused(SpanstockError):
    """A backup could not be made; nothing was written."""

    code = "backup_refused"


class RestoreRefused(SpanstockError):
    """A backup could not be brought back; nothing was changed."""

    code = "restore_refused"
