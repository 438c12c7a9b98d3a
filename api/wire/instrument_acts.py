"""What is done with instruments, for every door: kept on record, and checked."""

from typing import Any

from api.wire.acts import Act, Asker
from api.wire.calculations.fields import Record
from api.wire.instruments import CHECK, INSTRUMENT, check_json, instrument_with_checks_json, kept_json
from inventory.queries.access import Viewer, require_may_keep_instruments
from inventory.queries.instruments import find_instrument, get_instrument
from inventory.services.instruments import record_check, save_instrument

Json = dict[str, Any]


def _save(values: Json, asker: Asker) -> Json:
    require_may_keep_instruments(asker.viewer)
    saved, _is_new = save_instrument(**values)
    return instrument_with_checks_json(saved)


def _standing(names: Json, viewer: Viewer) -> Json | None:
    """The instrument as it stands; None where it is yet to be registered."""
    require_may_keep_instruments(viewer)
    found = find_instrument(viewer, names["tag"])
    return kept_json(found) if found is not None else None


def _check(values: Json, asker: Asker) -> Json:
    require_may_keep_instruments(asker.viewer)
    found = get_instrument(asker.viewer, values.pop("tag"))
    check, _is_new = record_check(instrument=found, by=asker.by, **values)
    return check_json(check)


SAVE_INSTRUMENT = Act(
    name="save_instrument",
    summary="Register an instrument under its tag, or change what is known of it.",
    record=Record(fields=INSTRUMENT),
    request="InstrumentRequest",
    answer="InstrumentWithChecks",
    do=_save,
    status=200,
    names=("tag",),
    current_of=_standing,
)
RECORD_CHECK = Act(
    name="record_instrument_check",
    summary="Write a check down; an instrument is checked once a day, and the same check again is harmless.",
    record=Record(fields=CHECK),
    request="InstrumentCheckRequest",
    answer="InstrumentCheck",
    do=_check,
    names=("tag",),
)
ACTS = (SAVE_INSTRUMENT, RECORD_CHECK)
