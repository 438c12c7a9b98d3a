from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


def _make_triggers(*, using: str, **kwargs: Any) -> None:
    from django.db import connections

    from inventory.models.triggers import make_triggers

    make_triggers(connections[using])


def _lift_triggers_that_stop_a_rebuild(*, using: str, **kwargs: Any) -> None:
    from django.db import connections

    from inventory.models.triggers import lift_triggers_that_stop_a_rebuild

    lift_triggers_that_stop_a_rebuild(connections[using])


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "What we hold"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        pre_migrate.connect(
            _lift_triggers_that_stop_a_rebuild, sender=self, dispatch_uid="inventory.lift_triggers"
        )
        post_migrate.connect(_make_triggers, sender=self, dispatch_uid="inventory.make_triggers")
