from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


def _make_triggers(*, using: str, **kwargs: Any) -> None:
    from django.db import connections

    from inventory.models.triggers import make_triggers

    make_triggers(connections[using])


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "What we hold"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        post_migrate.connect(_make_triggers, sender=self, dispatch_uid="inventory.make_triggers")
