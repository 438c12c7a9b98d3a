"""Instruments, and how far to trust them on a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from inventory.calc.measuring import overdue_factor
from inventory.errors import NotFound
from inventory.models import Instrument, InstrumentCheck
from inventory.queries.access import Viewer


@dataclass(frozen=True)
class TrustedInstrument:
    """An instrument with what its last check says of it on a day.

    `days_overdue` is 0 while the check holds and None where there was none.
    """

    instrument: Instrument
    trust_factor: float
    drift_fraction: float
    days_overdue: int | None

    @property
    def remark(self) -> str:
        """Why its readings are worth less than its class says; empty where they are not."""
        if self.days_overdue is None:
            return f"{self.instrument} was never checked"
        if self.days_overdue:
            return f"the check of {self.instrument} is {self.days_overdue} days overdue"
        return ""


def with_places(viewer: Viewer) -> QuerySet[Instrument]:
    """Every instrument, for whoever is signed in: what a company measures with is no secret."""
    return Instrument.objects.select_related("place")


def find_instrument(viewer: Viewer, tag: str) -> Instrument | None:
    return with_places(viewer).filter(tag=tag).first()


def get_instrument(viewer: Viewer, tag: str) -> Instrument:
    found = find_instrument(viewer, tag)
    if found is None:
        raise NotFound("There is no instrument of that tag.")
    return found


def trust_instruments(instruments: Iterable[Instrument], *, on_date: date) -> dict[int, TrustedInstrument]:
    """Each instrument by its key with its last check until a day; one query however many are asked for."""
    wanted = {instrument.pk: instrument for instrument in instruments}
    last: dict[int, InstrumentCheck] = {}
    if wanted:
        checks = InstrumentCheck.objects.filter(instrument__in=wanted, checked_date__lte=on_date)
        last = {check.instrument_id: check for check in checks.order_by("checked_date")}
    return {key: _trust(instrument, last.get(key), on_date) for key, instrument in wanted.items()}


def _trust(instrument: Instrument, check: InstrumentCheck | None, on_date: date) -> TrustedInstrument:
    if check is None:
        factor = overdue_factor(days_overdue=0, interval_days=None)
        return TrustedInstrument(instrument, factor, 0.0, None)
    overdue = max((on_date - check.due_date).days, 0)
    interval = (check.due_date - check.checked_date).days
    return TrustedInstrument(
        instrument,
        overdue_factor(days_overdue=overdue, interval_days=interval),
        check.drift_fraction or 0.0,
        overdue,
    )
