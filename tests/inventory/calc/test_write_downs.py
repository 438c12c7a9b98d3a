"""What of a write-down may still be put back, by hand."""

from fractions import Fraction

import pytest

from inventory.calc.write_downs import GoodsStep, standing_write_downs


@pytest.mark.outside_check(
    "IAS 2 paragraph 33: cost 720,000 written down by 30,000, of which no more than 30,000 is put back; how "
    "known: example of IAS 2.28-33 with these numbers read in a stored page"
)
def test_standing_write_downs_are_what_was_taken_off_less_what_was_put_back() -> None:
    down = GoodsStep("yard", written_down=30_000)
    assert standing_write_downs(opening={"yard": 10}, steps=[down]) == {"yard": 30_000}
    steps = [down, GoodsStep("yard", written_down=-40_000)]
    assert standing_write_downs(opening={"yard": 10}, steps=steps) == {"yard": -10_000}


def test_what_leaves_takes_its_share_along_and_what_comes_brings_none() -> None:
    steps = [
        GoodsStep("yard", written_down=90),
        GoodsStep("yard", "truck", quantity=4),
        GoodsStep(None, "yard", quantity=12),
        GoodsStep("yard", None, quantity=9),
    ]
    found = standing_write_downs(opening={"yard": 10}, steps=steps)
    # 54 stay on what is now 18 pieces; half of them go.
    assert found == {"yard": 27, "truck": 36}


def test_all_of_it_goes_with_the_last_of_the_goods_and_what_the_book_lacked() -> None:
    steps = [
        GoodsStep("yard", written_down=7),
        GoodsStep("yard", "truck", quantity=5),
        GoodsStep("yard", "yard", quantity=5),
    ]
    assert standing_write_downs(opening={"yard": 3}, steps=steps) == {"yard": 0, "truck": Fraction(7)}


def test_standing_write_downs_refuse_a_negative_quantity() -> None:
    with pytest.raises(ValueError, match=r"^quantity must be 0 or more, got -1"):
        standing_write_downs(opening={}, steps=[GoodsStep("yard", quantity=-1)])
