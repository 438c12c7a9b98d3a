"""Cookies of a connection over HTTPS never travel over another one."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class SecureCookies:
    """Middleware: marks cookies by how the request came, so that there is no setting to forget."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if request.is_secure():
            for cookie in response.cookies.values():
                cookie["secure"] = True
        return response
