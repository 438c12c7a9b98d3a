"""How often what was caught turns out fit for use, learnt from its tests."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field

from inventory.models import FluidTestResult

# Nine in ten vessels pass, which counts as much as ten tests (an estimate, no source).
USUAL_SHARE, USUAL_COUNTS_AS = 0.9, 10


@dataclass(frozen=True)
class PassingShares:
    """Tests passed and made, by key of the recovered material."""

    counts: Mapping[int, tuple[int, int]] = field(default_factory=dict)

    def of(self, material: int) -> float:
        """The share that passes: the mean of a beta distribution [1]."""
        passed, made = self.counts.get(material, (0, 0))
        return (passed + USUAL_SHARE * USUAL_COUNTS_AS) / (made + USUAL_COUNTS_AS)


def find_passing_shares() -> PassingShares:
    """Read all tests in which something had an approved limit; one is passed where all of it was kept."""
    results: dict[tuple[int, int], list[FluidTestResult]] = defaultdict(list)
    for row in FluidTestResult.objects.select_related("test"):
        if row.has_limit:
            results[row.test.material_id, row.test_id].append(row)
    counts: dict[int, tuple[int, int]] = {}
    for (material, _test), rows in results.items():
        passed, made = counts.get(material, (0, 0))
        counts[material] = passed + all(row.is_within for row in rows), made + 1
    return PassingShares(counts)
