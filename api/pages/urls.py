"""Addresses that people open."""

from django.urls import path

from api.pages import entrance, looks, stores

app_name = "pages"
urlpatterns = [
    path("", entrance.FirstPage.as_view(), name="first_page"),
    path("sign-in", entrance.SignIn.as_view(), name="sign_in"),
    path("sign-out", entrance.SignOut.as_view(), name="sign_out"),
    path("settings", entrance.OwnSettings.as_view(), name="own_settings"),
    path("pictures.css", looks.show_picture_style, name="picture_style"),
    path("restock", stores.Restock.as_view(), name="restock"),
    path("restock/<str:place>/<str:material>", stores.StockAhead.as_view(), name="stock_ahead"),
    path("where", stores.WhatIsWhere.as_view(), name="whereabouts"),
    path("containers/<str:label>", stores.ContainerPage.as_view(), name="container"),
]
