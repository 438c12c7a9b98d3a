"""Addresses of every door."""

from django.urls import URLPattern, URLResolver, path

from api.config import health

urlpatterns: list[URLPattern | URLResolver] = [
    path("health/live", health.show_live),
    path("health/ready", health.show_ready),
]
