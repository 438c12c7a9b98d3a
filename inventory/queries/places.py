"""Places by their code."""

from inventory.errors import NotFound
from inventory.models import Place


def get_place(code: str) -> Place:
    """Return the place with this code, whatever its case."""
    place = Place.objects.filter(code__iexact=code).first()
    if place is None:
        known = ", ".join(
            Place.objects.filter(kind__in=Place.STOCK_KINDS, is_withdrawn=False)
            .order_by("code")
            .values_list("code", flat=True)[:8]
        )
        raise NotFound(f"There is no place {code!r}. Known are {known or 'none yet'}.")
    return place
