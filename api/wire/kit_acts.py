"""The life of kits, for every door: brought to another state, loaded, and a warehouse's lists printed."""

import datetime
from typing import Any

from api.wire.acts import Act, Asker
from api.wire.calculations.fields import Record
from api.wire.input_fields import read_day
from api.wire.kit_requests import LOAD, STATE, find_loaded
from api.wire.kits import kits_of_day_body, loaded_kit_body
from api.wire.pull_sheets import pull_sheet_body
from inventory.errors import NotFound
from inventory.models import Place
from inventory.queries.access import get_place
from jobs.models import CrewDay
from jobs.queries.access import (
    WorkViewer,
    get_visible_crew_day,
    require_may_bring_kit_to,
    require_may_load,
    require_may_print_kits,
    require_sees_all_work,
)
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.services.day_life import change_day_state
from jobs.services.kits.loading import load_kit
from jobs.services.kits.printing import print_kits_of_day

Json = dict[str, Any]


def find_day(viewer: WorkViewer, crew: str, date: str) -> CrewDay:
    """The crew-day that an address names, where the viewer sees it."""
    return get_visible_crew_day(viewer, crew_code=crew, date=read_path_day(date))


def read_path_day(text: str) -> datetime.date:
    """The day that a part of an address names."""
    day = read_day(text)
    if day is None:
        raise NotFound("That is not a day; write it like 2026-03-31.")
    return day


def find_warehouse(viewer: WorkViewer, code: str) -> Place:
    """The warehouse that an address names, where the viewer sees it."""
    place = get_place(viewer, code)
    if place.kind != Place.Kind.WAREHOUSE:
        raise NotFound("There is no warehouse of that code.")
    return place


def _change_state(values: Json, asker: Asker) -> Json:
    day, state = find_day(asker.viewer, values["crew"], values["date"]), values["state"]
    require_may_bring_kit_to(asker.viewer, day, state)
    changed = change_day_state(
        crew_code=day.crew.code, date=day.date, state=state, by=asker.by, occurred_at=asker.now
    )
    return pull_sheet_body(make_pull_sheet(changed))


def _load(values: Json, asker: Asker) -> Json:
    day = find_day(asker.viewer, values.pop("crew"), values.pop("date"))
    require_may_load(asker.viewer, day)
    found = find_loaded(values, day=day)
    goods = found.pop("lines")
    return loaded_kit_body(
        load_kit(by=asker.by, crew_code=day.crew.code, date=day.date, goods=goods, **found)
    )


def _print(values: Json, asker: Asker) -> Json:
    require_sees_all_work(asker.viewer)
    warehouse, day = find_warehouse(asker.viewer, values["warehouse"]), read_path_day(values["date"])
    require_may_print_kits(asker.viewer, warehouse)
    printed = print_kits_of_day(warehouse=warehouse, date=day, by=asker.by, occurred_at=asker.now)
    return kits_of_day_body(printed)


CHANGE_STATE = Act(
    name="change_kit_state",
    summary=(
        "Bring a kit to another state: planners agree it, crews and stores load it and send it out. "
        "An agreed kit is promised what its sheet names. To the state that it is in already is harmless."
    ),
    record=STATE,
    request="KitStateRequest",
    answer="PullSheet",
    do=_change_state,
    status=200,
    names=("crew", "date"),
)
LOAD_KIT = Act(
    name="load_kit",
    summary=(
        "Move goods of the day's warehouse onto its truck, container by container, in as many goes. "
        "What the sheet does not name needs a `reason`. Sending it again under its id is harmless."
    ),
    record=LOAD,
    request="KitLoadRequest",
    answer="LoadedKit",
    do=_load,
    names=("crew", "date"),
)
PRINT = Act(
    name="print_kits_of_day",
    summary="Set down that the list is printed as it stands, so that later ones are compared with it.",
    record=Record(fields={}),
    request="",
    answer="KitsOfDay",
    do=_print,
    names=("warehouse", "date"),
)
ACTS = (CHANGE_STATE, LOAD_KIT, PRINT)
