"""Coming in, going out, and what a person sets for itself."""

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from api.models import User
from api.pages.navigation import first_page
from api.pages.page import Page


class SignIn(LoginView):
    """The form that asks for name and password, and leads on to where one was going."""

    template_name = "pages/sign_in.html"
    redirect_authenticated_user = True
    next_page = "pages:first_page"


class SignOut(LogoutView):
    """Ends the session, by a button only, so that no foreign page can do it."""

    next_page = "pages:sign_in"


class FirstPage(Page):
    """The bare address: each duty's own first page."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return redirect(f"pages:{first_page(self.user.role)}")


class OwnSettings(Page):
    """In which units a person reads."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self.show("own_settings", choices=User.Units.choices, chosen=self.user.units)

    def post(self, request: HttpRequest) -> HttpResponse:
        choice = request.POST.get("units", "")
        if choice in User.Units.values:
            self.user.units = choice
            self.user.save(update_fields=["units"])
        return redirect(reverse("pages:own_settings") + "?kept=1")
