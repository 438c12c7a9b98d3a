"""The questions one may ask. Each is one query call behind the same access rules as REST."""

from datetime import date as day
from typing import Any

import graphene
from graphene import relay
from graphql_relay import from_global_id

from api.graphql.asking import asking
from api.graphql.balance_types import DayBalance
from api.graphql.cost_types import CostQuery
from api.graphql.document_types import DocumentQuery
from api.graphql.fluid_types import FluidQuery
from api.graphql.instrument_types import InstrumentQuery
from api.graphql.kit_types import KitsOfDay
from api.graphql.mutations import make_mutation_type
from api.graphql.paging import connection_field, filter_arguments, page_of
from api.graphql.recovery_types import RecoveryQuery
from api.graphql.report_types import FieldReport, UnconfirmedTruck
from api.graphql.safety_types import SafetyQuery
from api.graphql.settings_types import SettingsQuery
from api.graphql.stock_types import (
    Container,
    ContainerConnection,
    Entry,
    EntryConnection,
    Holding,
    HoldingConnection,
    Material,
    MaterialConnection,
    Place,
    PlaceConnection,
)
from api.graphql.supply_types import SupplyQuery
from api.graphql.work_types import Job, JobConnection, PullSheet, Statement
from api.wire import (
    cable_sizes,
    company_rules,
    core_scrap,
    deposits,
    filters,
    fluid_acts,
    instrument_acts,
    job_acts,
    kit_acts,
    quarantines,
    recovery,
    report_acts,
    settings_acts,
    supply_acts,
    truck_acts,
    waste,
)
from api.wire.balances import day_balance_json
from api.wire.calculations import calculate
from api.wire.input_fields import is_storable
from api.wire.kits import kits_of_day_body
from api.wire.pull_sheets import pull_sheet_body
from api.wire.report_answers import reports_json
from api.wire.statements import statement_body
from api.wire.truck_answers import unconfirmed_truck_json
from inventory.errors import BadInput, Fault
from inventory.queries import access
from inventory.queries.scans import get_scanned_container
from jobs.queries.access import (
    get_visible_crew_day,
    get_visible_job,
    require_sees_all_work,
    visible_jobs,
)
from jobs.queries.balances import get_last_balance
from jobs.queries.field_reports import get_report, visible_reports, with_rows
from jobs.queries.kits_of_day import get_kits_of_day
from jobs.queries.pull_sheet import make_pull_sheet
from jobs.queries.statement import make_statement
from jobs.queries.truck_stock import list_unconfirmed_trucks


class Query(
    CostQuery,
    DocumentQuery,
    FluidQuery,
    InstrumentQuery,
    RecoveryQuery,
    SafetyQuery,
    SettingsQuery,
    SupplyQuery,
):
    """Everything that may be asked."""

    node = graphene.Field(relay.Node, id=graphene.ID(required=True))
    entries = connection_field(EntryConnection, **filter_arguments(filters.ENTRY_FILTERS))
    entry = graphene.Field(Entry, id=graphene.UUID(required=True))
    holdings = connection_field(HoldingConnection, **filter_arguments(filters.HOLDING_FILTERS))
    materials = connection_field(MaterialConnection, **filter_arguments(filters.MATERIAL_FILTERS))
    material = graphene.Field(Material, code=graphene.String(required=True))
    places = connection_field(PlaceConnection, **filter_arguments(filters.PLACE_FILTERS))
    place = graphene.Field(Place, code=graphene.String(required=True))
    containers = connection_field(ContainerConnection, **filter_arguments(filters.CONTAINER_FILTERS))
    container = graphene.Field(Container, label=graphene.String(required=True))
    scanned = graphene.Field(
        Container,
        code=graphene.String(required=True),
        description="by a short code, a label, or an address in a QR code",
    )
    jobs = connection_field(JobConnection, **filter_arguments(filters.JOB_FILTERS))
    job = graphene.Field(Job, reference=graphene.String(required=True))
    pull_sheet = graphene.Field(
        PullSheet, crew=graphene.String(required=True), date=graphene.Date(required=True)
    )
    kits_of_day = graphene.Field(
        KitsOfDay, warehouse=graphene.String(required=True), date=graphene.Date(required=True)
    )
    balance = graphene.Field(
        DayBalance,
        crew=graphene.String(required=True),
        date=graphene.Date(required=True),
        description="the last closing of a crew's day",
    )
    statement = graphene.Field(Statement, job=graphene.String(required=True))
    field_reports = graphene.List(
        graphene.NonNull(FieldReport),
        required=True,
        crew=graphene.String(required=True),
        date=graphene.Date(required=True),
        description="all reports of a crew's day, in order of time",
    )
    field_report = graphene.Field(FieldReport, id=graphene.UUID(required=True))
    unconfirmed_trucks = graphene.List(
        graphene.NonNull(UnconfirmedTruck), required=True, description="trucks whose crew has not reported"
    )
    calculation = graphene.Field(
        graphene.JSONString,
        name=graphene.String(required=True),
        request=graphene.JSONString(required=True),
        description="a stateless calculation; request and answer are JSON objects as text",
    )

    def resolve_node(self, info: Any, id: str) -> Any:
        noun, name = _read_node_id(id)
        return NODES[noun].get_node(info, name)

    def resolve_entries(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = access.visible_entries(viewer)
        order, known = filters.BY_KEY, filters.ENTRY_FILTERS
        return page_of(
            EntryConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_entry(self, info: Any, id: Any) -> Any:
        return access.get_entry(asking(info).viewer, id)

    def resolve_holdings(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = access.visible_holdings(viewer)
        order, known = filters.BY_NAME, filters.HOLDING_FILTERS
        return page_of(
            HoldingConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_materials(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = access.visible_materials(viewer)
        order, known = filters.BY_CODE, filters.MATERIAL_FILTERS
        return page_of(
            MaterialConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_material(self, info: Any, code: str) -> Any:
        return access.get_material(asking(info).viewer, code)

    def resolve_places(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = access.visible_places(viewer)
        order, known = filters.BY_CODE, filters.PLACE_FILTERS
        return page_of(
            PlaceConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_place(self, info: Any, code: str) -> Any:
        return access.get_place(asking(info).viewer, code)

    def resolve_containers(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = access.visible_containers(viewer)
        order, known = filters.BY_LABEL, filters.CONTAINER_FILTERS
        return page_of(
            ContainerConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_container(self, info: Any, label: str) -> Any:
        return access.get_container(asking(info).viewer, label)

    def resolve_scanned(self, info: Any, code: str) -> Any:
        return get_scanned_container(asking(info).viewer, code)

    def resolve_jobs(self, info: Any, first: int, after: str | None = None, **given: Any) -> Any:
        viewer = asking(info).viewer
        rows = visible_jobs(viewer)
        order, known = filters.BY_REFERENCE, filters.JOB_FILTERS
        return page_of(
            JobConnection,
            rows,
            order=order,
            filters=known,
            first=first,
            after=after,
            given=given,
            viewer=viewer,
        )

    def resolve_job(self, info: Any, reference: str) -> Any:
        return get_visible_job(asking(info).viewer, reference)

    def resolve_pull_sheet(self, info: Any, crew: str, date: day) -> Any:
        found = get_visible_crew_day(asking(info).viewer, crew_code=crew, date=date)
        return pull_sheet_body(make_pull_sheet(found))

    def resolve_kits_of_day(self, info: Any, warehouse: str, date: day) -> Any:
        viewer = asking(info).viewer
        require_sees_all_work(viewer)
        return kits_of_day_body(get_kits_of_day(warehouse=access.get_place(viewer, warehouse), date=date))

    def resolve_balance(self, info: Any, crew: str, date: day) -> Any:
        found = get_visible_crew_day(asking(info).viewer, crew_code=crew, date=date)
        return day_balance_json(get_last_balance(found))

    def resolve_statement(self, info: Any, job: str) -> Any:
        viewer = asking(info).viewer
        found = make_statement(get_visible_job(viewer, job))
        return statement_body(found, has_money=viewer.may_see_money)

    def resolve_field_reports(self, info: Any, crew: str, date: day) -> Any:
        viewer = asking(info).viewer
        found = get_visible_crew_day(viewer, crew_code=crew, date=date)
        rows = with_rows(visible_reports(viewer).filter(crew_day=found))
        return reports_json(list(rows.order_by("occurred_at", "pk")))

    def resolve_field_report(self, info: Any, id: Any) -> Any:
        return reports_json([get_report(asking(info).viewer, id)])[0]

    def resolve_unconfirmed_trucks(self, info: Any) -> Any:
        return [unconfirmed_truck_json(row) for row in list_unconfirmed_trucks(asking(info).viewer)]

    def resolve_calculation(self, info: Any, name: str, request: Any) -> Any:
        return calculate(name, request)


NODES: dict[str, Any] = {kind.__name__: kind for kind in (Container, Entry, Holding, Job, Material, Place)}


def _read_node_id(id: str) -> tuple[str, str]:
    """The noun and the name that a node id stands for."""
    try:
        noun, name = from_global_id(id)
    except ValueError:
        noun = name = ""
    if noun not in NODES or not is_storable(name):
        raise BadInput.of([Fault("id", id[:60], "was not given out as a node's id")])
    return noun, name


ACTS = (
    *fluid_acts.ACTS,
    *quarantines.ACTS,
    *waste.ACTS,
    *deposits.ACTS,
    *recovery.ACTS,
    *core_scrap.ACTS,
    *company_rules.ACTS,
    *settings_acts.ACTS,
    *cable_sizes.ACTS,
    *supply_acts.ACTS,
    *report_acts.ACTS,
    *instrument_acts.ACTS,
    *truck_acts.ACTS,
    *kit_acts.ACTS,
    *job_acts.ACTS,
)
schema = graphene.Schema(query=Query, mutation=make_mutation_type(ACTS))
