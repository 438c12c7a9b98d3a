"""What a whole job is expected to take: means over all its spans and runs, not what a truck should carry."""

from collections import defaultdict
from dataclasses import dataclass, field

from inventory.models import Material, Party
from inventory.queries.company import get_company_party
from inventory.queries.purchase_costs import find_present_costs
from inventory.units import MILLION, convert, format_millionths
from jobs.calc.cable import cable_length_m
from jobs.calc.passes import passes_moments
from jobs.models import CableSize, Job, Run, Span
from jobs.queries.catalogue import Catalogue, load_catalogue
from jobs.queries.day_fluid import span_bore_m3
from jobs.queries.jobs import get_policy

Role = Material.FittingRole
M3_PER_L = 1e-3


@dataclass
class Expected:
    """One material that a job is expected to take, in its stock unit, and what comes back of it."""

    material: Material
    owner: Party
    quantity: float = 0.0
    comes_back: float = 0.0
    recovered_share: int = 0
    reasons: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class ExpectedLine:
    """The same in whole millionths, with what a unit costs now (None where nothing tells)."""

    material: Material
    owner: Party
    quantity: int
    comes_back: int
    unit_cost: int | None
    recovered_share: int
    why: str


def estimate_job(job: Job) -> list[ExpectedLine]:
    """Materials that the live spans and runs of a job are expected to take, what was done before left out.

    Needs for which no material is known are left out too: the pull sheet names them day by day.
    """
    catalogue = load_catalogue(get_policy(), get_company_party())
    spans = Span.objects.filter(job=job, is_withdrawn=False).select_related("cable_size", "near", "far")
    by_run: dict[int, list[Span]] = defaultdict(list)
    for span in spans.order_by("run", "sequence"):
        by_run[span.run_id].append(span)
    runs = Run.objects.filter(pk__in=by_run).select_related("cable_size", "job__customer", "job__fibre")
    taken: dict[tuple[int, int], Expected] = {}
    _expect_fluid(taken, catalogue, [span for every in by_run.values() for span in every])
    _expect_fittings(taken, catalogue, [span for every in by_run.values() for span in every])
    for run in runs.order_by("name"):
        _expect_run(taken, catalogue, run, by_run[run.pk])
    return _round(list(taken.values()))


def _expect_fluid(taken: dict[tuple[int, int], Expected], catalogue: Catalogue, spans: list[Span]) -> None:
    policy, material = catalogue.policy, catalogue.fluid()
    todo = [span for span in spans if not span.was_extracted_before_start]
    if material is None or not todo:
        return
    bore = sum(span_bore_m3(span) for span in todo)
    injected = bore * policy.injected_ratio_mean + len(todo) * policy.set_up_volume_l * M3_PER_L
    factor = float(convert(1, "m3", material.stock_unit))
    recovered = catalogue.recovered_forms(material)
    line = _line(taken, material, catalogue.company)
    line.quantity += injected * factor
    if recovered:
        line.comes_back += injected * policy.recovered_fraction_mean * factor
        line.recovered_share = recovered[0].recovered_value_share
    line.reasons.append(
        f"{len(todo)} spans hold {format_millionths(round(bore * factor * MILLION), material.stock_unit)}; "
        f"times {policy.injected_ratio_mean:g} and a set-up each; {policy.recovered_fraction_mean:.0%} back"
    )


def _expect_fittings(taken: dict[tuple[int, int], Expected], catalogue: Catalogue, spans: list[Span]) -> None:
    """Fittings go from span to span; what a job takes of them is what gets lost, or every one used up."""
    loss = catalogue.policy.fitting_loss_probability
    by_size: dict[CableSize, int] = defaultdict(int)
    for span in spans:
        if not span.was_extracted_before_start:
            by_size[span.cable_size] += 1
    for size, count in by_size.items():
        for role in (Role.PRESSURE_END, Role.EXIT_END):
            material = catalogue.fitting(role, size)
            if material is not None:
                line = _line(taken, material, catalogue.company)
                line.quantity += count * loss if material.is_reusable else count
                line.reasons.append(f"{count} uses on {size}, {loss:.0%} lost")


def _expect_run(
    taken: dict[tuple[int, int], Expected], catalogue: Catalogue, run: Run, spans: list[Span]
) -> None:
    company = catalogue.company
    if not run.was_cleaned_before_start:
        union = catalogue.fitting(Role.UNION, run.cable_size)
        if union is not None and len(spans) > 1:
            _line(taken, union, company).quantity += len(spans) - 1
        projectile = catalogue.projectile(run.cable_size)
        if projectile is not None:
            mean, _variance = passes_moments(passes=catalogue.policy.passes)
            _line(taken, projectile, company).quantity += mean
    fibre = catalogue.fibre(run.job)
    if fibre is not None and not run.was_blown_before_start:
        policy = catalogue.policy
        length = cable_length_m(
            span_lengths_m=[span.length_m for span in spans],
            slack_m=[span.slack_um / MILLION if span.slack_um else policy.slack_m for span in spans],
            tails_m=[policy.tail_m, policy.tail_m],
            allowance_fraction=policy.fibre_allowance_fraction,
        )
        metres = float(convert(1, "m", fibre.stock_unit))
        _line(taken, fibre, catalogue.fibre_owner(run.job)).quantity += length * metres


def _line(taken: dict[tuple[int, int], Expected], material: Material, owner: Party) -> Expected:
    return taken.setdefault((material.pk, owner.pk), Expected(material, owner))


def _round(expected: list[Expected]) -> list[ExpectedLine]:
    costs = find_present_costs(line.material for line in expected)
    lines = [
        ExpectedLine(
            material=line.material,
            owner=line.owner,
            quantity=round(line.quantity * MILLION),
            comes_back=round(line.comes_back * MILLION),
            unit_cost=costs[line.material.pk] if line.owner.is_company else None,
            recovered_share=line.recovered_share,
            why="; ".join(line.reasons)[:500],
        )
        for line in expected
    ]
    return sorted(lines, key=lambda line: (line.material.kind, line.material.code, line.owner.code))
