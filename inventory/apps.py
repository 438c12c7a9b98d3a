from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "inventory"
    verbose_name = "What we hold"
    default_auto_field = "django.db.models.BigAutoField"
