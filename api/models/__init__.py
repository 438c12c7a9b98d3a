"""What the doors store: who may come in, and whom they tell of what happened."""

from api.models.account import SignInAttempt, User
from api.models.system import SystemClient, SystemToken

__all__ = ["SignInAttempt", "SystemClient", "SystemToken", "User"]
