"""What to count how often, and how many records to look at."""

from typing import Any

from api.wire.calculations.fields import Keyed, Limits, Listing, Number, Record, Text, Whole, not_negative
from api.wire.calculations.fields import open_fraction as between_0_and_1
from api.wire.calculations.registry import register
from inventory.calc.counting import CountedItem, count_classes, count_sample

DEFAULT_LIMITS = ("0.8", "0.95")


def _count_classes(values: dict[str, Any]) -> dict[str, Any]:
    items = {name: CountedItem(**item) for name, item in values["items"].items()}
    return vars(count_classes(items=items, limits=values["limits"] or DEFAULT_LIMITS))


register(
    name="count-classes",
    summary="Classes by share of yearly value; the item that crosses a limit is in the lower class.",
    takes={
        "items": Keyed(
            item=Record(
                fields={
                    "annual_demand": Number(limits=not_negative(), is_exact=True),
                    "unit_cost": Number(limits=not_negative(), is_exact=True),
                }
            )
        ),
        "limits": Listing(
            item=Number(limits=between_0_and_1(), is_exact=True),
            fewest=1,
            most=25,
            default=None,
            may_be_null=True,
            about="rising; 0.8 and 0.95 where left out",
        ),
    },
    gives={
        "classes": Keyed(item=Text(), about="A, B, C, ... by id, most valuable first"),
        "annual_value": Keyed(item=Number(limits=not_negative())),
        "cumulative_share": Keyed(item=Number(may_be_null=True), about="null where nothing has a value"),
    },
    compute=_count_classes,
    example={
        "items": {
            "fluid": {"annual_demand": 3000, "unit_cost": "9.50"},
            "projectile": {"annual_demand": 4000, "unit_cost": "1.20"},
            "union": {"annual_demand": 900, "unit_cost": "3.10"},
        }
    },
)


def _count_sample(values: dict[str, Any]) -> dict[str, Any]:
    return {"sample_size": count_sample(**values)}


register(
    name="count-sample",
    summary="Records to look at so that finding none wrong rules out a rate (hypergeometric).",
    takes={
        "population": Whole(limits=Limits(least=1), about="records"),
        "tolerable_rate": Number(limits=Limits(above=0, most=1), is_exact=True),
        "confidence": Number(limits=between_0_and_1(), is_exact=True),
    },
    gives={"sample_size": Whole()},
    compute=_count_sample,
    example={"population": 1000, "tolerable_rate": "0.05", "confidence": "0.95"},
)
