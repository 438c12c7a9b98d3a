"""Addresses of version 1. Each is answered with and without a slash at its end."""

from collections.abc import Callable
from typing import Any

from django.urls import URLPattern, path

from api.rest import calculations, entries, field_reports, reference, stock, trucks, work

ADDRESSES: list[tuple[str, Callable[..., Any], str]] = [
    ("entries", entries.Entries.as_view(), "entries"),
    ("entries/<str:id>", entries.OneEntry.as_view(), "entry"),
    ("holdings", stock.Holdings.as_view(), "holdings"),
    ("materials", stock.Materials.as_view(), "materials"),
    ("materials/<str:code>", stock.OneMaterial.as_view(), "material"),
    ("places", stock.Places.as_view(), "places"),
    ("places/<str:code>", stock.OnePlace.as_view(), "place"),
    ("containers", stock.Containers.as_view(), "containers"),
    ("containers/<str:label>", stock.OneContainer.as_view(), "container"),
    ("jobs", work.Jobs.as_view(), "jobs"),
    ("jobs/<str:reference>", work.OneJob.as_view(), "job"),
    ("jobs/<str:reference>/statement", work.JobStatement.as_view(), "statement"),
    ("pull-sheets", work.PullSheets.as_view(), "pull-sheets"),
    ("pull-sheets/<str:crew>/<str:date>", work.OnePullSheet.as_view(), "pull-sheet"),
    ("field-reports", field_reports.FieldReports.as_view(), "field-reports"),
    ("field-reports/<str:id>", field_reports.OneFieldReport.as_view(), "field-report"),
    ("field-reports/<str:id>/correction", field_reports.Correction.as_view(), "field-report-correction"),
    ("hand-overs", trucks.HandOvers.as_view(), "hand-overs"),
    ("hand-overs/<str:id>/answer", trucks.HandOverAnswer.as_view(), "hand-over-answer"),
    ("purchases", trucks.Purchases.as_view(), "purchases"),
    ("crew-days/<str:crew>/<str:date>/vehicle", trucks.VehicleMove.as_view(), "crew-day-vehicle"),
    ("unconfirmed-trucks", trucks.UnconfirmedTrucks.as_view(), "unconfirmed-trucks"),
    ("calculations", calculations.Calculations.as_view(), "calculations"),
    ("calculations/<str:name>", calculations.OneCalculation.as_view(), "calculation"),
    ("problems", reference.Problems.as_view(), "problems"),
    ("problems/<str:code>", reference.OneProblem.as_view(), "problem"),
    ("schema", reference.OpenApi.as_view(), "schema"),
    ("reference", reference.show_reference, "reference"),
]
# The reverse of a name is its last pattern: the address without a slash.
urlpatterns: list[URLPattern] = [
    path(f"{address}{ending}", view, name=name) for address, view, name in ADDRESSES for ending in ("/", "")
]
