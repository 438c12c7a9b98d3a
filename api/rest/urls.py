"""Addresses of version 1. Each is answered with and without a slash at its end."""

from collections.abc import Callable
from typing import Any

from django.urls import URLPattern, path

from api.rest import (
    accounting,
    balances,
    calculations,
    cost_sheets,
    entries,
    field_reports,
    instruments,
    invoices,
    reference,
    stock,
    stock_accounts,
    trucks,
    work,
)

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
    ("jobs/<str:reference>/cost-sheet", cost_sheets.CostSheetDoor.as_view(), "cost-sheet"),
    (
        "jobs/<str:reference>/cost-sheet/file.<str:ending>",
        cost_sheets.CostSheetFile.as_view(),
        "cost-sheet-file",
    ),
    ("jobs/<str:reference>/cost-sheet/picture", cost_sheets.CostPicture.as_view(), "cost-picture"),
    ("jobs/<str:reference>/cost-sheet/entries", cost_sheets.CostEntries.as_view(), "cost-entries"),
    ("jobs/<str:reference>/issued-sheets", cost_sheets.IssuedSheets.as_view(), "issued-sheets"),
    (
        "jobs/<str:reference>/issued-sheets/<int:number>",
        cost_sheets.OneIssuedSheet.as_view(),
        "issued-sheet",
    ),
    ("accounting-periods", accounting.Periods.as_view(), "accounting-periods"),
    ("accounting-periods/check-list", accounting.CheckList.as_view(), "closing-check-list"),
    ("second-words", accounting.SecondWords.as_view(), "second-words"),
    ("second-words/<str:id>/decision", accounting.SecondWordDecision.as_view(), "second-word-decision"),
    ("accounts", accounting.Accounts.as_view(), "accounts"),
    ("journal-batches", accounting.Batches.as_view(), "journal-batches"),
    ("journal-batches/<int:number>", accounting.OneBatch.as_view(), "journal-batch"),
    ("journal-batches/<int:number>/file.<str:ending>", accounting.BatchFile.as_view(), "journal-batch-file"),
    ("journal-batches/<int:number>/answer", accounting.BatchAnswer.as_view(), "journal-batch-answer"),
    ("journal-batches/<int:number>/remaking", accounting.BatchRemaking.as_view(), "journal-batch-remaking"),
    ("invoices", invoices.Invoices.as_view(), "invoices"),
    ("unbilled-receipts", invoices.Unbilled.as_view(), "unbilled-receipts"),
    ("stock-at", stock_accounts.StockAt.as_view(), "stock-at"),
    ("roll-forward", stock_accounts.RollForward.as_view(), "roll-forward"),
    ("crew-days/<str:crew>/<str:date>/balance", balances.Balance.as_view(), "balance"),
    ("jobs/<str:reference>/fluid", balances.JobFluid.as_view(), "job-fluid"),
    ("months/<str:month>/fluid", balances.MonthFluid.as_view(), "month-fluid"),
    ("instruments", instruments.Instruments.as_view(), "instruments"),
    ("instruments/<str:tag>", instruments.OneInstrument.as_view(), "instrument"),
    ("instruments/<str:tag>/checks", instruments.InstrumentChecks.as_view(), "instrument-checks"),
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
