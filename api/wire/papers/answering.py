"""How papers leave over REST: which size they are asked for in, and their answer."""

from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from api.wire.papers.paper import PAPERS
from inventory.errors import BadInput, Fault
from inventory.queries.company import get_company

PAPER = OpenApiParameter(
    "paper",
    {"type": "string", "enum": sorted(PAPERS)},
    description="a4 where the company is metric, letter elsewhere, unless it is named",
)
PDF: Any = {(200, "application/pdf"): {"type": "string", "format": "binary"}}


def read_paper(request: Request) -> str:
    """The size that is asked for, else the company's."""
    usual = "a4" if get_company().uses_metric else "letter"
    given = request.query_params.get("paper", usual)
    if given not in PAPERS:
        raise BadInput.of([Fault("paper", given[:60], f"must be one of {', '.join(sorted(PAPERS))}")])
    return given


def answer_pdf(body: bytes, name: str) -> HttpResponse:
    """A PDF that is shown where it can be, and saved under its name."""
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(body, content_type="application/pdf", headers=headers)
