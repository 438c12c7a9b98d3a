"""Coming in, going out, and what a person sets for itself."""

from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.decorators import method_decorator

from api.models import User
from api.pages.languages import in_own_language, list_languages
from api.pages.navigation import first_page
from api.pages.page import Page


@method_decorator(in_own_language, name="dispatch")
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


@method_decorator(in_own_language, name="dispatch")
class OwnSettings(Page):
    """In which units and in which language a person reads."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self.show(
            "own_settings",
            choices=User.Units.choices,
            chosen=self.user.units,
            languages=list_languages(),
            language=self.user.language,
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        units, language = request.POST.get("units"), request.POST.get("language")
        if units in User.Units.values:
            self.user.units = units
        if language == "" or language in dict(list_languages()):
            self.user.language = language
        self.user.save(update_fields=["units", "language"])
        return redirect(reverse("pages:own_settings") + "?kept=1")
