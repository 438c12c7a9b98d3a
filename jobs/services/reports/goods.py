"""Pieces, projectiles and fibre that the work took, and what was handed over as waste."""

from inventory.models import Material, Place
from inventory.services.posting import End
from inventory.units import MILLION, convert
from jobs.models import PieceReport, RunBlowing
from jobs.services.reports.drafting import Draft, Purpose
from jobs.services.reports.injected import find_before, find_targets

_PURPOSES = {
    PieceReport.Fate.INSTALLED: Purpose.INSTALLED,
    PieceReport.Fate.USED: Purpose.USED,
    PieceReport.Fate.WORN: Purpose.WORN,
    PieceReport.Fate.LOST: Purpose.LOST,
}


def draft_pieces(draft: Draft) -> None:
    """Pieces go from the truck to their span or run; those of the day to its jobs by their spans."""
    for row in draft.told.pieces:
        for target, part in find_targets(draft, row, row.quantity):
            purpose = _PURPOSES[PieceReport.Fate(row.fate)]
            draft.take_from_truck(row.material, part, target, purpose, cause=row.cause)


def draft_projectiles(draft: Draft) -> None:
    """What was fired is used up, whether it came out or not: one that is torn out later costs no more."""
    for number, row in enumerate(draft.told.cleanings):
        if row.fired and row.projectile is not None and number not in draft.told.fired_before:
            target = End(row.run.place)
            draft.take_from_truck(row.projectile, row.fired * MILLION, target, Purpose.USED)


def draft_fibre(draft: Draft) -> None:
    """Fibre goes from its reel to the run, as long as the marks say; without them, as the reel's reading."""
    for number, row in enumerate(draft.told.blowings):
        if row.reel is None or row.reel.material is None:
            continue
        length = fibre_length(row) or _length_by_reading(draft, row)
        length -= round(length * draft.told.marks_told_before.get(number, 0))
        end = draft.scene.end_of(row.reel)
        draft.move(row.reel.material, length, end, End(row.run.place), Purpose.INSTALLED)


def fibre_length(row: RunBlowing) -> int:
    """The difference of the marks, whichever way they run, in millionths of the fibre's unit."""
    if row.mark_start is None or row.mark_end is None:
        return 0
    assert row.reel is not None
    assert row.reel.material is not None
    used = abs(row.mark_end - row.mark_start)
    return round(convert(used, row.mark_unit, row.reel.material.stock_unit))


def _length_by_reading(draft: Draft, row: RunBlowing) -> int:
    """What left a reel that was read but whose marks nobody noted; once, where it served several runs."""
    assert row.reel is not None
    others = [
        other for other in draft.told.blowings if other.reel_id == row.reel_id and not fibre_length(other)
    ]
    for reading in draft.told.end_readings:
        if reading.container_id == row.reel_id and others[0] is row:
            told = sum(fibre_length(other) for other in draft.told.blowings if other.reel_id == row.reel_id)
            return find_before(draft, row.reel, reading.material) - reading.amount - told
    return 0


def draft_waste(draft: Draft) -> None:
    """Waste leaves from its container; without an amount all that is in it, or was until it was read."""
    waste = End(draft.scene.special_place(Place.Kind.WASTE)) if draft.told.waste else None
    left = {row.container_id: row.amount for row in draft.told.end_readings}
    for row in draft.told.waste:
        assert waste is not None
        material: Material = draft.scene.stock.material_in(row.container) or row.material
        inside = draft.scene.stock.in_container(row.container, material)
        quantity = row.amount if row.amount is not None else inside - left.get(row.container_id, 0)
        draft.move(material, quantity, draft.scene.end_of(row.container), waste, Purpose.DISPOSED)
