"""Addresses of every door."""

from django.urls import URLPattern, URLResolver, include, path, re_path

from api.config import health
from api.config.metrics import Metrics
from api.graphql.view import GraphQl

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("api.pages.urls")),
    path("health/live", health.show_live),
    path("health/ready", health.show_ready),
    path("health/metrics", Metrics.as_view()),
    path("api/v1/", include("api.rest.urls")),
    re_path(r"^graphql/?$", GraphQl.as_view(), name="graphql"),
]
handler404 = "api.errors.show_not_found"
handler500 = "api.errors.show_fault"
