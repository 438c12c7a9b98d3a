"""In which language a person reads the pages that are translated: its own choice, or the browser's."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.template.response import SimpleTemplateResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from api.models import User

View = Callable[..., HttpResponseBase]
# The language in which the book is kept; stored sentences and answers to programs are in it.
BOOK_LANGUAGE = settings.LANGUAGE_CODE


def list_languages() -> list[tuple[str, str]]:
    """The codes of the languages on offer, that of the book first, each with its own name for itself."""
    return sorted(settings.LANGUAGES, key=lambda row: row[0] != BOOK_LANGUAGE)


def choose_language(request: HttpRequest) -> str:
    """What this person chose, else the first on offer that the browser asks for, else that of the book."""
    chosen = request.user.language if isinstance(request.user, User) else ""
    return chosen if chosen in dict(settings.LANGUAGES) else translation.get_language_from_request(request)


def in_own_language(view: View) -> View:
    """A page that is translated; others, and what it does not wrap, stay in the language of the book."""

    @wraps(view)
    def answer_in_it(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        language = choose_language(request)
        with translation.override(language):
            answer = view(request, *args, **kwargs)
            if isinstance(answer, SimpleTemplateResponse):
                # Otherwise it is written after the language has been put back.
                answer.render()
        answer["Content-Language"] = language
        patch_vary_headers(answer, ("Accept-Language", "Cookie"))
        return answer

    return answer_in_it
