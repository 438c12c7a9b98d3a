from django.apps import AppConfig


class ApiConfig(AppConfig):
    name = "api"
    verbose_name = "The doors"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # A task that is sent from a web process or a command goes to this application's broker; without
        # the import Celery would make up an application with a broker of its own.
        from api.config import celery  # noqa: F401
        from api.sign_in import signals  # noqa: F401
