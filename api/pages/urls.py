"""Addresses that people open."""

from django.urls import path

from api.pages import accounts, crew, entrance, kits, looks, planner, safety, stores

app_name = "pages"
urlpatterns = [
    path("", entrance.FirstPage.as_view(), name="first_page"),
    path("sign-in", entrance.SignIn.as_view(), name="sign_in"),
    path("sign-out", entrance.SignOut.as_view(), name="sign_out"),
    path("settings", entrance.OwnSettings.as_view(), name="own_settings"),
    path("pictures.css", looks.show_picture_style, name="picture_style"),
    path("days", crew.Days.as_view(), name="days"),
    path("days/<str:crew>/<str:date>", crew.DaySheet.as_view(), name="day_sheet"),
    path("field/", crew.show_field, name="field"),
    path("field/worker.js", crew.show_field_worker, name="field_worker"),
    path("field/pack", crew.FieldPack.as_view(), name="field_pack"),
    path("field/who", crew.show_who, name="field_who"),
    path("week", planner.Week.as_view(), name="week"),
    path("jobs", accounts.Jobs.as_view(), name="jobs"),
    path("jobs/<str:reference>/cost", accounts.JobCost.as_view(), name="job_cost"),
    path(
        "jobs/<str:reference>/issued-sheets/<int:number>",
        accounts.IssuedSheetPage.as_view(),
        name="issued_sheet",
    ),
    path(
        "jobs/<str:reference>/cost/<str:material>/<str:owner>",
        accounts.CostLinePage.as_view(),
        name="cost_line",
    ),
    path("entries/<uuid:id>", accounts.EntryPage.as_view(), name="entry"),
    path("closing", accounts.ClosingList.as_view(), name="closing"),
    path("safety", safety.Safety.as_view(), name="safety"),
    path("kits", kits.KitsOfDayPage.as_view(), name="kits"),
    path("restock", stores.Restock.as_view(), name="restock"),
    path("restock/<str:place>/<str:material>", stores.StockAhead.as_view(), name="stock_ahead"),
    path("where", stores.WhatIsWhere.as_view(), name="whereabouts"),
    path("containers/<str:label>", stores.ContainerPage.as_view(), name="container"),
]
