from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"
    verbose_name = "The doors"
    default_auto_field = "django.db.models.BigAutoField"
