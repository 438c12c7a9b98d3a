"""How papers leave over REST: which size they are asked for in, and their answer."""

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from api.wire.papers.clipboard import PAPERS
from inventory.errors import BadInput, Fault
from inventory.queries.company import get_company

PAPER = OpenApiParameter(
    "paper",
    {"type": "string", "enum": sorted(PAPERS)},
    description="A4 where the company is metric without it",
)


def read_paper(request: Request) -> str:
    """The size that is asked for, else the company's."""
    asked = request.query_params.get("paper")
    if asked is None:
        return "a4" if get_company().uses_metric else "letter"
    if asked not in PAPERS:
        raise BadInput.of([Fault("paper", asked[:60], f"is none of: {', '.join(sorted(PAPERS))}")])
    return asked


def answer_pdf(body: bytes, name: str) -> HttpResponse:
    """A PDF that is shown where it can be, and saved under its name."""
    headers = {"Content-Disposition": f'inline; filename="{name}.pdf"'}
    return HttpResponse(body, content_type="application/pdf", headers=headers)
