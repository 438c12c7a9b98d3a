"""Who may say what about safety. Roles are words that the door passes in; jobs knows no accounts."""

from inventory.queries.access import NotAllowed

SAFETY = "safety"


def require_safety(role: str) -> None:
    """Refuse whoever is not of the safety role."""
    if role != SAFETY:
        raise NotAllowed("Only the safety role may decide this.")
