"""What a truck carries as the day goes on."""

import pytest

from jobs.calc.truck_load import load_along_day


@pytest.mark.outside_check("conservation of mass, a running sum; how known: reckoned by hand")
def test_load_along_day_finds_the_heaviest_moment_and_what_comes_back() -> None:
    day = load_along_day(leaving_kg=500.0, taken_off_kg=[50.0, 0.0, 200.0], put_on_kg=[20.0, 90.0, 10.0])
    assert (day.leaving_kg, day.heaviest_kg, day.heaviest_after, day.returning_kg) == (500.0, 560.0, 2, 370.0)


def test_load_along_day_without_steps_comes_back_as_it_left() -> None:
    day = load_along_day(leaving_kg=120.0, taken_off_kg=[], put_on_kg=[])
    assert (day.heaviest_kg, day.heaviest_after, day.returning_kg) == (120.0, 0, 120.0)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"leaving_kg": -1.0}, "leaving_kg"),
        ({"taken_off_kg": [-1.0]}, "taken_off_kg"),
        ({"put_on_kg": [float("inf")]}, "put_on_kg"),
        ({"put_on_kg": []}, "the same steps"),
    ],
)
def test_load_along_day_names_what_is_out_of_range(changed: dict[str, object], said: str) -> None:
    good: dict[str, object] = {"leaving_kg": 1.0, "taken_off_kg": [0.0], "put_on_kg": [0.0]}
    with pytest.raises(ValueError, match=said):
        load_along_day(**{**good, **changed})  # type: ignore[arg-type]
