"""Small over the wire: what a phone fetches to open the field page goes compressed where it takes it so."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware


class CompressFieldPage(GZipMiddleware):
    """Compresses the field page, its pack and the files of pages, and nothing else.

    None of them holds a secret beside something that a stranger may choose, which is what makes compressed
    pages unsafe (BREACH).
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> Any:
        is_kept = request.path.startswith((f"/{settings.STATIC_URL.lstrip('/')}", "/field/"))
        if not is_kept or request.method != "GET" or response.status_code != 200:
            return response
        return super().process_response(request, response)
