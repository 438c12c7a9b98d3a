"""Addresses of every door."""

from django.urls import URLPattern, URLResolver, include, path

from api.config import health

urlpatterns: list[URLPattern | URLResolver] = [
    path("health/live", health.show_live),
    path("health/ready", health.show_ready),
    path("api/v1/", include("api.rest.urls")),
]
handler404 = "api.errors.show_not_found"
handler500 = "api.errors.show_fault"
