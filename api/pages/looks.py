"""Pictures on pages: their style as a file, since pages allow none inside themselves, and their tables."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from api.wire.pictures.drawing import PictureTable
from api.wire.pictures.style import make_stylesheet

A_DAY = 86_400


@require_safe
@cache_control(max_age=A_DAY)
def show_picture_style(request: HttpRequest) -> HttpResponse:
    """Colours and type of every picture, in light, dark and print."""
    return HttpResponse(make_stylesheet(), content_type="text/css; charset=utf-8")


def show_table(table: PictureTable) -> dict[str, Any]:
    """What the template of a picture's table needs: the table, and its rows in the order of its columns."""
    return {"table": table, "rows": [[row[column.key] for column in table.columns] for row in table.rows]}
