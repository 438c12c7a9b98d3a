"""Kits for the clipboard and the phone: files, the picture of the cuts, and what was scanned."""

from django.http import HttpResponse
from django.utils.timezone import localtime
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.answers import container_json
from api.wire.door import Door
from api.wire.kit_acts import find_day, find_warehouse, read_path_day
from api.wire.papers.answering import PAPER, PDF, answer_pdf, read_paper
from api.wire.papers.pick_list import make_pick_list_pdf
from api.wire.papers.pull_sheet import make_pull_sheet_pdf
from api.wire.pull_sheets import cuts_body, draw_cuts, scan_body
from api.wire.schemas import TEXT, of
from inventory.queries.scans import get_scanned_container
from jobs.queries.access import require_sees_all_work
from jobs.queries.kits_of_day import get_kits_of_day
from jobs.queries.pull_sheet import PullSheet, make_pull_sheet
from jobs.queries.sheet_scans import scan_for_sheet


class PullSheetFile(Door):
    """A pull sheet for the clipboard."""

    @extend_schema(operation_id="get_pull_sheet_file", parameters=[PAPER], responses=PDF)
    def get(self, request: Request, crew: str, date: str) -> HttpResponse:
        """Get the sheet as PDF, with boxes to tick, codes to scan and the cuts of each reel."""
        sheet = _make_sheet(self, crew, date)
        return answer_pdf(make_pull_sheet_pdf(sheet, paper=read_paper(request)), f"kit-{crew}-{date}")


class PickListFile(Door):
    """A warehouse's day for the clipboard."""

    @extend_schema(operation_id="get_kits_of_day_file", parameters=[PAPER], responses=PDF)
    def get(self, request: Request, warehouse: str, date: str) -> HttpResponse:
        """Get all kits of a day as PDF: side by side, what changed since the last print, one list by bin."""
        require_sees_all_work(self.viewer)
        found = get_kits_of_day(warehouse=find_warehouse(self.viewer, warehouse), date=read_path_day(date))
        body = make_pick_list_pdf(found, printed_at=localtime(), paper=read_paper(request))
        return answer_pdf(body, f"kits-{warehouse}-{date}")


class PullSheetCuts(Door):
    """The cuts of a day's reels."""

    @extend_schema(operation_id="get_pull_sheet_cuts", responses={200: OpenApiResponse(of("SheetCuts"))})
    def get(self, request: Request, crew: str, date: str) -> Response:
        """Get what is cut off each reel and by which marks, with the picture and its table."""
        return Response(cuts_body(_make_sheet(self, crew, date)))


class PullSheetCutsPicture(Door):
    """The same as a picture alone."""

    @extend_schema(
        operation_id="get_pull_sheet_cuts_picture",
        responses={(200, "image/svg+xml"): OpenApiResponse(TEXT)},
    )
    def get(self, request: Request, crew: str, date: str) -> HttpResponse:
        """Get the picture as SVG."""
        svg = draw_cuts(_make_sheet(self, crew, date)).svg
        return HttpResponse(svg, content_type="image/svg+xml; charset=utf-8")


class PullSheetScan(Door):
    """A container that is scanned while a kit is loaded."""

    @extend_schema(operation_id="scan_for_pull_sheet", responses={200: OpenApiResponse(of("SheetScan"))})
    def get(self, request: Request, crew: str, date: str, code: str) -> Response:
        """Get the container of a scanned code in the kit's warehouse or truck, and what it is for."""
        return Response(scan_body(scan_for_sheet(find_day(self.viewer, crew, date), code)))


class Scan(Door):
    """A container by what is scanned or typed."""

    @extend_schema(operation_id="find_scanned_container", responses={200: OpenApiResponse(of("Container"))})
    def get(self, request: Request, code: str) -> Response:
        """Get the container of a short code, a label, or an address in a QR code."""
        return Response(container_json(get_scanned_container(self.viewer, code)))


def _make_sheet(door: Door, crew: str, date: str) -> PullSheet:
    return make_pull_sheet(find_day(door.viewer, crew, date))
