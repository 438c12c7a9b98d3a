"""What a browser may load and run on our pages: only what this service itself serves as files.

A page that cannot keep to it (the address lists for programs) sets a policy of its own, which stands.
"""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADER = "Content-Security-Policy"


class ContentSecurity:
    """Middleware that sends the policy with every answer that a browser may show as a page."""

    def __init__(self, answer: Callable[[HttpRequest], HttpResponse]) -> None:
        self.answer = answer

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.answer(request)
        if response.headers.get("Content-Type", "").startswith("text/html"):
            response.headers.setdefault(HEADER, POLICY)
            # What is shown depends on who is signed in; the next person at this machine must not get it.
            response.headers.setdefault("Cache-Control", "no-store")
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), camera=(self)")
        return response
