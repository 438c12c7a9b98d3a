"""Whose code was scanned or typed: a short code, a label, or an address of ours in a QR code."""

from urllib.parse import unquote, urlsplit

from django.db.models import QuerySet

from inventory.errors import NotFound
from inventory.models import Container
from inventory.queries.access import Viewer, visible_containers
from inventory.short_codes import WrongShortCode, make_short_code, read_short_code


def get_scanned_container(viewer: Viewer, text: str) -> Container:
    """The container behind what was scanned, of those that the viewer sees.

    Raises
    ------
    WrongShortCode
        If it has digits only, as a short code has, and they do not go together.
    NotFound
        If there is none, or none that the viewer sees.
    """
    return pick_scanned(visible_containers(viewer), text)


def pick_scanned(containers: QuerySet[Container], text: str) -> Container:
    """The same out of the containers given.

    A short code as it is printed comes before a label that reads the same, since it was made to be scanned.
    """
    name = _last_part(text.strip())
    number, refusal = _read_number(name)
    if number is not None and make_short_code(number) == name:
        found = containers.filter(pk=number).first()
        if found is not None:
            return found
    found = containers.filter(label=name).first()
    if found is None and number is not None:
        found = containers.filter(pk=number).first()
    if found is not None:
        return found
    if refusal is not None and all(sign.isdigit() or sign in " -." for sign in name):
        raise refusal
    raise NotFound("There is no container of that code or label.")


def _read_number(name: str) -> tuple[int | None, WrongShortCode | None]:
    try:
        return read_short_code(name), None
    except WrongShortCode as refusal:
        return None, refusal


def _last_part(text: str) -> str:
    """The name at the end of an address, where a QR code holds one; else the text as it stands."""
    if "://" not in text:
        return text
    return unquote(urlsplit(text).path.rstrip("/").rpartition("/")[2])
