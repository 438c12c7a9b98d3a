"""What the doors store: who may come in, and whom they tell of what happened."""

from api.models.account import SignInAttempt, User
from api.models.system import SystemClient, SystemToken
from api.models.webhook import WebhookDelivery, WebhookTarget

__all__ = ["SignInAttempt", "SystemClient", "SystemToken", "User", "WebhookDelivery", "WebhookTarget"]
