"""What holds for every registered calculation: its schema, its example, its faults told at once."""

import json
import re
from pathlib import Path

import jsonschema
import pytest

from api.wire.calculations import Calculation, UnknownCalculation, calculate, list_calculations
from inventory.errors import BadInput

EVERY = pytest.mark.parametrize("calculation", list_calculations(), ids=lambda calculation: calculation.name)


@EVERY
def test_request_schema_accepts_the_example_and_is_a_schema_itself(calculation: Calculation) -> None:
    schema = calculation.request_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(calculation.example)


@EVERY
def test_answer_schema_describes_the_answer_to_the_example(calculation: Calculation) -> None:
    schema = calculation.answer_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    answer = json.loads(json.dumps(calculate(calculation.name, calculation.example), allow_nan=False))
    jsonschema.Draft202012Validator(schema).validate(answer)


@EVERY
def test_calculate_refuses_an_unknown_field(calculation: Calculation) -> None:
    with pytest.raises(BadInput) as refusal:
        calculate(calculation.name, {**calculation.example, "surplus/field": 1})
    assert "/surplus~1field" in {fault.pointer for fault in refusal.value.faults}


@EVERY
def test_calculate_names_every_missing_field_at_once(calculation: Calculation) -> None:
    required = {f"/{name}" for name, field in calculation.takes.fields.items() if field.is_required}
    if required:
        with pytest.raises(BadInput) as refusal:
            calculate(calculation.name, {})
        assert {fault.pointer for fault in refusal.value.faults} == required


@EVERY
@pytest.mark.parametrize("data", [None, [], "text", 1, True])
def test_calculate_refuses_what_is_not_an_object(calculation: Calculation, data: object) -> None:
    with pytest.raises(BadInput):
        calculate(calculation.name, data)


@EVERY
def test_calculate_takes_every_number_of_the_example_as_a_decimal_string(calculation: Calculation) -> None:
    assert calculate(calculation.name, _as_strings(calculation.example)) == calculate(
        calculation.name, calculation.example
    )


def _as_strings(value: object) -> object:
    if isinstance(value, dict):
        return {key: _as_strings(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_as_strings(item) for item in value]
    if isinstance(value, int | float) and not isinstance(value, bool):
        return str(value)
    return value


def test_list_calculations_has_every_name_that_is_promised() -> None:
    promised = """
        bore-volume volume-at-reference container-contents film-residual crew-day-fluid fittings-needed
        cable-length reel-allotment order-quantity joint-order order-schedule load-level reorder-policy
        min-max-policy forward-stock demand-forecast fluid-balance pooled-estimate recovery-ratio cost-flow
        cost-variance allocate-money count-classes count-sample
    """
    assert set(promised.split()) <= {calculation.name for calculation in list_calculations()}


def test_calculate_refuses_an_unknown_name() -> None:
    with pytest.raises(UnknownCalculation):
        calculate("no-such-calculation", {})


def test_every_module_of_calculations_is_imported_by_the_package() -> None:
    package = Path(__file__).resolve().parents[4] / "api" / "wire" / "calculations"
    registering = {
        path.stem for path in package.glob("*.py") if re.search(r"^register\(", path.read_text(), re.M)
    }
    imported = (package / "__init__.py").read_text()
    assert registering
    assert all(re.search(rf"\b{name}\b", imported) for name in registering)
