"""What other systems call our records: one name per system and noun, for every noun there is."""

from collections.abc import Callable

import pytest
from django.db.models import Model

from inventory.errors import BadInput
from inventory.models import Container, ExternalReference
from inventory.queries.references import UnknownNoun, find_by_noun, find_by_reference, list_references
from inventory.services.references import ReferenceTaken, set_reference
from jobs.models import AccessPoint, Crew, CrewDay, Job, Run, Span
from tests.factories.kits import SmallDay, make_small_day

pytestmark = pytest.mark.django_db

NOUNS: dict[str, Callable[[SmallDay], Model]] = {
    "inventory.material": lambda day: day.world.fluid,
    "inventory.place": lambda day: day.world.warehouse,
    "inventory.container": lambda day: Container.objects.get(label="D-1"),
    "inventory.party": lambda day: day.world.customer,
    "jobs.job": lambda day: Job.objects.get(),
    "jobs.run": lambda day: Run.objects.get(),
    "jobs.span": lambda day: Span.objects.get(name="S1"),
    "jobs.accesspoint": lambda day: AccessPoint.objects.get(name="P1"),
    "jobs.crew": lambda day: Crew.objects.get(),
    "jobs.crewday": lambda day: CrewDay.objects.get(),
}


@pytest.fixture
def day() -> SmallDay:
    small = make_small_day()
    small.vessel("D-1")
    return small


@pytest.mark.parametrize("noun", NOUNS)
def test_set_reference_makes_every_noun_addressable(day: SmallDay, noun: str) -> None:
    record = NOUNS[noun](day)
    set_reference(system="dispatch", identifier="X-1", record=record)
    assert find_by_reference(system="dispatch", model=type(record), identifier="X-1") == record
    assert find_by_noun(system="dispatch", noun=noun, identifier="X-1") == record
    assert find_by_reference(system="design", model=type(record), identifier="X-1") is None
    assert [row.identifier for row in list_references(record)] == ["X-1"]


def test_set_reference_lets_every_noun_use_the_same_name(day: SmallDay) -> None:
    for make in NOUNS.values():
        set_reference(system="dispatch", identifier="1", record=make(day))
    assert ExternalReference.objects.count() == len(NOUNS)


def test_set_reference_again_changes_nothing(day: SmallDay) -> None:
    first = set_reference(system="dispatch", identifier="1", record=day.run)
    assert set_reference(system="dispatch", identifier="1", record=day.run) == first
    assert ExternalReference.objects.count() == 1


def test_set_reference_takes_the_place_of_the_name_before(day: SmallDay) -> None:
    for identifier in ("1", "2"):
        set_reference(system="dispatch", identifier=identifier, record=day.run)
    set_reference(system="accounts", identifier="9", record=day.run)
    assert [(row.system, row.identifier) for row in list_references(day.run)] == [
        ("accounts", "9"),
        ("dispatch", "2"),
    ]


def test_set_reference_refuses_what_another_record_is_called(day: SmallDay) -> None:
    one, other = Span.objects.order_by("name")
    set_reference(system="design", identifier="1", record=one)
    with pytest.raises(ReferenceTaken, match="another span already"):
        set_reference(system="design", identifier="1", record=other)
    set_reference(system="dispatch", identifier="1", record=other)
    assert find_by_reference(system="design", model=Span, identifier="1") == one


@pytest.mark.parametrize(
    ("system", "identifier"), [("", "1"), ("design", " "), ("design", "a\nb"), ("design", "x" * 161)]
)
def test_set_reference_refuses_what_is_no_name(day: SmallDay, system: str, identifier: str) -> None:
    with pytest.raises(BadInput):
        set_reference(system=system, identifier=identifier, record=day.run)


@pytest.mark.parametrize("noun", ["jobs.painting", "span", ""])
def test_find_by_noun_refuses_what_is_no_noun(noun: str) -> None:
    with pytest.raises(UnknownNoun):
        find_by_noun(system="design", noun=noun, identifier="1")
