"""What goes onto a truck: by size and handling, payload, tags and recipes; the day needs 12.0027 gal."""

from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import (
    Container,
    FittingInspection,
    Holding,
    Material,
    Place,
    Recipe,
    RecipeLine,
    TaggedFitting,
    TaggedFittingPolicy,
)
from jobs.models import CheckListItem, CrewDay, CrewDayStep, KitPolicy, ProtectiveEquipment
from jobs.queries.pull_sheet import PullSheet, SheetLine, get_pull_sheet
from tests.factories.jobs import DAY, make_crew
from tests.factories.kits import SmallDay, make_fitting, make_plain_policy, make_small_day

GALLON = 1_000_000
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def _sheet() -> PullSheet:
    return get_pull_sheet(crew_code="north", date=DAY)


def _line(section: str) -> SheetLine:
    (line,) = [line for line in _sheet().lines if line.section == section]
    return line


def _labels(section: str = "fluid") -> list[str]:
    return [pick.container for pick in _line(section).picks]


def _tote(day: SmallDay, label: str, gallons: int, **fields: Any) -> None:
    day.drum(label, gallons, kind=Container.Kind.TOTE, capacity=275 * GALLON, **fields)


def test_fluid_is_not_taken_from_an_opened_tote_while_a_drum_stands_there(day: SmallDay) -> None:
    _tote(day, "TOTE", 260, state="open")
    day.drum("DRUM", 55)
    assert _labels() == ["DRUM"]


def test_fluid_comes_from_a_tote_where_there_is_nothing_else_with_a_caution(day: SmallDay) -> None:
    _tote(day, "TOTE", 260)
    (pick,) = _line("fluid").picks
    # 260 gal of 1020 kg/m3 and a tote of 60 kg: 984.2 L * 1.02 + 60 = 1063.9 kg.
    assert pick.mass_kg == pytest.approx(1063.9, abs=0.1)
    assert pick.caution == "about 1064 kg: fork truck or crane only"


def test_fluid_that_is_too_heavy_for_the_truck_stays_and_is_named(day: SmallDay) -> None:
    Place.objects.filter(pk=day.world.vehicle.pk).update(payload_kg=500)
    _tote(day, "TOTE", 260)
    line = _line("fluid")
    assert (line.picks, line.short) == ([], line.needed)
    assert "TOTE weighs about 1064 kg, the truck takes 500 kg more" in line.why


def test_fluid_leaves_a_small_rest_behind_where_the_kit_is_full_without_it(day: SmallDay) -> None:
    day.drum("REST", 1, state="open")
    day.drum("FULL", 55)
    assert _labels() == ["FULL"]
    day.drum("HALF", 8, state="open")
    assert _labels() == ["HALF", "FULL"]


def test_fluid_is_taken_new_first_where_the_company_says_so(day: SmallDay) -> None:
    day.drum("BACK", 20, material=day.world.recovered, contents_state="fit")
    day.drum("NEW", 20)
    assert _labels() == ["BACK"]
    KitPolicy.objects.update(is_recovered_first=False)
    assert _labels() == ["NEW"]


def test_fluid_needs_more_by_what_stays_in_hoses_and_tank(day: SmallDay) -> None:
    before = _line("fluid").needed
    KitPolicy.objects.update(hose_and_tank_l=3.785411784)
    assert _line("fluid").needed - before == pytest.approx(GALLON, abs=2)


def test_goods_on_a_trailer_are_on_the_truck(day: SmallDay) -> None:
    trailer = Place.objects.create(code="trailer", name="Trailer", kind="vehicle", parent=day.world.vehicle)
    day.drum("A", 55)
    from inventory.services.goods import transfer

    drum = Container.objects.get(label="A")
    transfer(id=uuid4(), by=day.world.actor, occurred_at=NOON, containers=[(drum, trailer)])
    assert _line("fluid").to_take == 0


def _tag(day: SmallDay, tag: str, uses: int, *, is_passed: bool = True, **fields: Any) -> TaggedFitting:
    material = Material.objects.get(code="pressure_end-.500")
    day.pieces(material, 1)
    found = TaggedFitting.objects.create(
        tag=tag,
        material=material,
        made_by="A",
        checked_by="B",
        made_date=DAY - timedelta(days=30),
        place=day.world.warehouse,
        uses=uses,
        **fields,
    )
    FittingInspection.objects.create(
        fitting=found, uuid=uuid4(), inspected_at=NOON, by=day.world.actor, is_passed=is_passed
    )
    return found


def test_tagged_fittings_are_never_planned_past_their_limit(day: SmallDay) -> None:
    make_fitting("pressure_end")
    TaggedFittingPolicy.objects.update_or_create(pk=1, defaults={"most_uses": 10})
    _tag(day, "T-WORN", 10)
    _tag(day, "T-ONE", 9)
    line = _line("pressure_end")
    # Two spans, and one fitting that is good for one of them: short.
    assert (line.short, line.tags) == (GALLON, ("T-ONE, 1 use left, no limit approved",))
    assert "good for 1 more uses; 2 are needed" in line.why
    _tag(day, "T-NEW", 3)
    line = _line("pressure_end")
    assert (line.short, line.tags) == (0, ("T-NEW, 7 uses left, no limit approved",))


def test_tagged_fitting_that_failed_is_not_planned(day: SmallDay) -> None:
    make_fitting("pressure_end")
    _tag(day, "T-BAD", 0, is_passed=False)
    line = _line("pressure_end")
    assert (line.picks, line.tags) == ([], ())
    assert "No fitting here is fit to be planned" in line.why


def test_tagged_fitting_past_its_age_is_not_planned(day: SmallDay) -> None:
    """Made thirty days before the day."""
    make_fitting("pressure_end")
    _tag(day, "T-OLD", 0)
    TaggedFittingPolicy.objects.update_or_create(pk=1, defaults={"longest_age_days": 30})
    assert _line("pressure_end").tags == ("T-OLD, 0 days left, no limit approved",)
    TaggedFittingPolicy.objects.update(longest_age_days=29)
    line = _line("pressure_end")
    assert (line.picks, line.short) == ([], GALLON)


def test_pieces_without_a_tag_are_not_planned_where_every_piece_must_carry_one(day: SmallDay) -> None:
    material = make_fitting("pressure_end")
    day.pieces(material, 3)
    assert (_line("pressure_end").short, _line("pressure_end").tags) == (0, ())
    KitPolicy.objects.get().tagged_materials.add(material)
    line = _line("pressure_end")
    assert (line.picks, line.short) == ([], GALLON)
    assert "3 pieces without a tag may not be planned" in line.why
    _tag(day, "T-NEW", 0)
    line = _line("pressure_end")
    assert (line.short, line.tags) == (0, ("T-NEW, no limit approved",))
    KitPolicy.objects.get().tagged_materials.clear()
    assert _line("pressure_end").short == 0


def test_fluid_comes_from_a_drum_before_the_rest_in_a_tote(day: SmallDay) -> None:
    """A tote needs a fork truck however little is in it."""
    make_plain_policy()
    day.drum("HERE", 8, on_truck=True)
    _tote(day, "TOTE", 5, state="open")
    day.drum("DRUM", 55)
    assert _labels() == ["DRUM"]


def test_fitting_that_is_short_is_made_by_its_recipe(day: SmallDay) -> None:
    fitting = make_fitting("pressure_end")
    blank = make_fitting("blank", is_reusable=False)
    recipe = Recipe.objects.create(code="adapt", name="Adapt .500")
    RecipeLine.objects.create(recipe=recipe, material=fitting, quantity=GALLON, is_output=True)
    RecipeLine.objects.create(recipe=recipe, material=blank, quantity=GALLON, is_output=False)
    assert _line("pressure_end").short == GALLON
    # A lot of blanks that is held back is not adapted, as it would not be rigged.
    lot = day.vessel("LOT-1", kind="lot", material=blank, place=None, capacity=None, state="held")
    Holding.objects.create(
        place=day.world.warehouse,
        material=blank,
        owner=day.world.company,
        container=lot,
        quantity=GALLON,
        key="lot",
        is_kept=True,
    )
    assert _line("pressure_end").made == 0
    day.pieces(blank, 1)
    line = _line("pressure_end")
    assert (line.short, line.made) == (0, GALLON)
    assert [pick.material_code for pick in line.picks] == [blank.code]
    assert "checked by another than who made it" in line.why


def test_protection_with_a_material_is_counted_and_without_one_is_looked_for(day: SmallDay) -> None:
    gloves = Material.objects.create(code="gloves", name="Gloves, pair", kind="supply", stock_unit="1")
    ProtectiveEquipment.objects.filter(name="Gloves").update(material=gloves, pieces=4)
    day.pieces(gloves, 3)
    line = _line("protective")
    assert (line.needed, line.short) == (4 * GALLON, GALLON)
    names = [item.name for item in _sheet().check_list if item.is_protective]
    assert "Eye protection" in names
    assert "Gloves" not in names


def test_check_list_follows_the_day_and_the_company(day: SmallDay) -> None:
    CheckListItem.objects.filter(name="Pump").update(is_withdrawn=True)
    CheckListItem.objects.create(name="Rain cover")
    names = {item.name for item in _sheet().check_list}
    assert {"Rain cover", "Compressor", "Core catcher"} <= names
    assert not names & {"Pump", "Gas tester"}
    CrewDayStep.objects.exclude(kind="extract").delete()
    assert not {item.name for item in _sheet().check_list} & {"Compressor", "Blowing machine"}


def test_load_is_followed_over_the_day_and_held_against_the_payload(day: SmallDay) -> None:
    day.drum("A", 55)
    Place.objects.filter(pk=day.world.vehicle.pk).update(payload_kg=235)
    load = _sheet().load
    assert load is not None
    # 55 gal of 1020 kg/m3 and a steel drum of 18.1 kg: 208.198 L * 1.02 + 18.1.
    assert load.leaving_kg == pytest.approx(230.46, abs=0.01)
    assert load.is_over
    assert any(remark.startswith("Too heavy: About 230 kg leaving") for remark in _sheet().remarks)
    # 12.0027 gal go out, nine tenths of it comes back; the core comes on top.
    core = load.returning_kg - load.leaving_kg + 0.1 * 12.0027 * 3.785411784 * 1.02
    assert core == pytest.approx(0.3048 * _core_kg_per_m() * 1000, rel=1e-3)


def _core_kg_per_m() -> float:
    from jobs.models import CoreMass

    return CoreMass.objects.get(cable_size__designation=".500").grams_per_m / 1000


def test_short_line_names_the_nearest_place_that_has_it(day: SmallDay) -> None:
    fitting = make_fitting("union")
    assert _line("union").help == "No other place has any. Nothing on order will bring it."
    day.pieces(fitting, 3)
    from inventory.models import Holding

    Holding.objects.filter(material=fitting).update(place=day.world.second_warehouse)
    assert _line("union").help.startswith("Nearest: North yard has 3.")


def test_sheet_says_where_two_crews_have_one_truck(day: SmallDay) -> None:
    other = make_crew("south")
    CrewDay.objects.create(crew=other, date=DAY, vehicle=day.world.vehicle, warehouse=day.world.warehouse)
    assert any("planned for crew south too" in remark for remark in _sheet().remarks)


def test_plain_policy_keeps_seals_and_stubs_off_where_the_company_uses_none(day: SmallDay) -> None:
    make_plain_policy()
    KitPolicy.objects.update(seals_per_run=0, stub_m=0)
    assert not {line.section for line in _sheet().lines} & {"seal", "duct"}
