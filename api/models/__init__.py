"""What the doors store: who may come in, what was sent and answered, and whom they tell of what happened."""

from api.models.account import SignInAttempt, User
from api.models.bulk_import import BulkImport, ImportedRow
from api.models.keyed_answer import KeyedAnswer
from api.models.system import SystemClient, SystemToken
from api.models.webhook import WebhookDelivery, WebhookTarget

__all__ = [
    "BulkImport",
    "ImportedRow",
    "KeyedAnswer",
    "SignInAttempt",
    "SystemClient",
    "SystemToken",
    "User",
    "WebhookDelivery",
    "WebhookTarget",
]
