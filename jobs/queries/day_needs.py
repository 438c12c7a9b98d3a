"""What a crew-day takes besides its route: one need per material, in the order in which the work meets it.

Both the pull sheet and the requirements that restocking reads are made from these, so they agree.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from inventory.models import Material, Party
from inventory.units import MILLION, convert, format_amount, format_millionths, unit_label
from jobs.calc.cable import cable_length_m
from jobs.calc.fittings import count_fittings
from jobs.calc.passes import count_projectiles, passes_moments
from jobs.models import CableSize, CrewDayStep, EstimatingPolicy, LearntFit, Span
from jobs.queries.catalogue import Catalogue
from jobs.queries.day_extras import need_extras
from jobs.queries.day_fluid import M3_PER_L, DayFluid, compute_fluids
from jobs.queries.day_work import DayWork
from jobs.queries.need import Need, count, group_by_size

Step = CrewDayStep.Kind
Role = Material.FittingRole
UM_PER_M = 1_000_000


@dataclass(frozen=True)
class DayNeeds:
    """All needs of one day, and its fluid, from which the catch capacity follows."""

    work: DayWork
    needs: list[Need]
    fluid: DayFluid | None


def compute_day_needs(work: DayWork, *, catalogue: Catalogue) -> DayNeeds:
    """Everything the day's steps take, in the order of work."""
    return compute_needs_of_days([work], catalogue=catalogue)[0]


def compute_needs_of_days(works: Sequence[DayWork], *, catalogue: Catalogue) -> list[DayNeeds]:
    """The same for many days, their fluid simulated together."""
    fluids = compute_fluids(works, catalogue.policy, catalogue.learnt)
    return [_gather_needs(work, fluid, catalogue) for work, fluid in zip(works, fluids, strict=True)]


def _gather_needs(work: DayWork, fluid: DayFluid | None, catalogue: Catalogue) -> DayNeeds:
    needs: list[Need] = []
    if fluid and fluid.extracted_count:
        needs.append(_need_fluid(work, fluid, catalogue))
    needs.extend(_need_fittings(work, catalogue))
    needs.extend(_need_unions(work, catalogue))
    needs.extend(_need_projectiles(work, catalogue))
    needs.extend(_need_fibre(work, catalogue))
    needs.extend(need_extras(work, catalogue))
    needs.sort(key=lambda need: need.first_position)
    return DayNeeds(work, needs, fluid)


def to_millionths_of(unit: str, m3: float) -> int:
    """A volume in millionths of a unit of volume; rounded up, since too little stops the crew."""
    exact = convert(m3, "m3", unit) * MILLION
    return -int(-exact // 1)


def show_m3(m3: float, unit: str) -> str:
    return format_amount(float(convert(m3, "m3", unit)), unit)


def _need_fluid(work: DayWork, fluid: DayFluid, catalogue: Catalogue) -> Need:
    policy, material = catalogue.policy, catalogue.fluid()
    unit = material.stock_unit if material else "[gal_us]"
    recovered = catalogue.recovered_forms(material) if material else []
    factor = float(convert(1, "m3", unit))
    spans = count(fluid.extracted_count, "span")
    sizes = list(group_by_size(work, Step.EXTRACT))
    set_up = format_amount(convert(policy.set_up_volume_l, "L", unit), unit)
    kept_m3 = catalogue.kit.hose_and_tank_l * M3_PER_L
    kept = f"; {show_m3(kept_m3, unit)} more stays in hoses and tank" if kept_m3 else ""
    reuse = (
        f", less {policy.reusable_fraction:.0%} of what came back before each span"
        if policy.reusable_fraction
        else "; nothing that comes back is counted on"
    )
    return Need(
        section="fluid",
        title=material.name if material else "Fluid (none is set in the estimating policy)",
        unit=unit,
        quantity=to_millionths_of(unit, fluid.load_m3 + kept_m3),
        mean=round(fluid.load_mean_m3 * factor * MILLION),
        variance=fluid.load_variance_m6 * factor**2,
        returned_material=recovered[0] if recovered else None,
        returned=round(fluid.back_mean_m3 * factor * MILLION) if recovered else 0,
        returned_variance=fluid.back_variance_m6 * factor**2 if recovered else 0.0,
        why=(
            f"{spans} {'holds' if fluid.extracted_count == 1 else 'hold'} {show_m3(fluid.bore_m3, unit)}; "
            f"times {_show_ratios(catalogue, sizes)} for bypass "
            f"({catalogue.learnt.explain(LearntFit.Subject.INJECTED, sizes)}) and "
            f"{set_up} a set-up that is {show_m3(fluid.injected_mean_m3, unit)} on average; "
            f"enough on {_in_ten(policy.quantile)} days{reuse}{kept}."
        ),
        first_position=work.steps_of(Step.EXTRACT)[0].position,
        material=material,
        owner=catalogue.company,
    )


def _show_ratios(catalogue: Catalogue, sizes: list[CableSize]) -> str:
    """The ratio of each size, or the one that they all have."""
    means = [f"{catalogue.learnt.injected(size).mean:.3g}" for size in sizes]
    if len(set(means)) == 1:
        return means[0]
    return ", ".join(f"{mean} ({size})" for mean, size in zip(means, sizes, strict=True))


def _need_fittings(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    policy = catalogue.policy
    for size, steps in group_by_size(work, Step.EXTRACT).items():
        found = count_fittings(
            spans=len(steps),
            sets_in_use=policy.sets_in_use,
            loss_probability=policy.fitting_loss_probability,
            quantile=policy.quantile,
        )
        losses = catalogue.learnt.losses(size, uses=len(steps))
        spares = min(losses.enough, len(steps) - found.in_place) if losses else found.spares
        pieces = found.in_place + spares
        lost = losses.mean if losses else len(steps) * policy.fitting_loss_probability
        chance = lost / len(steps)
        why = (
            f"{count(len(steps), 'span')} of {size}, {count(found.in_place, 'set')} in place at a time and "
            f"{count(spares, 'spare')} (a fitting is lost in {100 * chance:.2g} of 100 uses: "
            f"{catalogue.learnt.explain(LearntFit.Subject.FITTING_LOSS, [size])})."
        )
        for role, title in ((Role.PRESSURE_END, "Pressure-end fitting"), (Role.EXIT_END, "Exit fitting")):
            material = catalogue.fitting(role, size)
            comes_back = material is not None and material.is_reusable
            yield Need(
                section=str(role.value),
                title=material.name if material else f"{title} {size}",
                unit="1",
                quantity=pieces * MILLION,
                mean=pieces * MILLION,
                returned_material=material if comes_back else None,
                returned=max(round((pieces - lost) * MILLION), 0) if comes_back else 0,
                returned_variance=(losses.variance if losses else lost * (1 - chance)) if comes_back else 0.0,
                why=why,
                first_position=steps[0].position,
                material=material,
                owner=catalogue.company,
                cable_size=size,
            )


def _need_unions(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    for size, steps in group_by_size(work, Step.CLEAN).items():
        joints = {step.run: len(work.spans_of(step.run)) - 1 for step in steps if step.run is not None}
        total = sum(number for number in joints.values() if number > 0)
        if not total:
            continue
        shown = ", ".join(
            f"{run} has {count(number + 1, 'span')}" for run, number in joints.items() if number > 0
        )
        material = catalogue.fitting(Role.UNION, size)
        yield Need(
            section="union",
            title=material.name if material else f"Union {size}",
            unit="1",
            quantity=total * MILLION,
            mean=total * MILLION,
            why=f"One between any two spans of a run, left in place: {shown}.",
            first_position=steps[0].position,
            material=material,
            owner=catalogue.company,
            cable_size=size,
        )


def _need_projectiles(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    policy = catalogue.policy
    mean, variance = passes_moments(passes=policy.passes)
    for size, steps in group_by_size(work, Step.CLEAN).items():
        runs = len(steps)
        learnt = catalogue.learnt.passes(size, runs=runs)
        pieces = (
            learnt.enough
            if learnt
            else count_projectiles(runs=runs, passes=policy.passes, quantile=policy.quantile)
        )
        each = learnt.mean / runs if learnt else mean
        material = catalogue.projectile(size)
        yield Need(
            section="projectile",
            title=material.name if material else f"Projectile for {size}, bore {_show_bore(size)}",
            unit="1",
            quantity=pieces * MILLION,
            mean=round(runs * each * MILLION),
            variance=learnt.variance if learnt else runs * variance,
            why=(
                f"{count(runs, 'run')} of {size} (bore {_show_bore(size)}), {each:.3g} each on average "
                f"({catalogue.learnt.explain(LearntFit.Subject.PASSES, [size])}); "
                f"{pieces} suffice on {_in_ten(policy.quantile)} days."
            ),
            first_position=steps[0].position,
            material=material,
            owner=catalogue.company,
            cable_size=size,
        )


def _need_fibre(work: DayWork, catalogue: Catalogue) -> Iterator[Need]:
    for step in work.steps_of(Step.BLOW):
        run = step.run
        assert run is not None
        spans = work.spans_of(run)
        if not spans:
            continue
        material, owner = catalogue.fibre(run.job), catalogue.fibre_owner(run.job)
        unit = material.stock_unit if material else spans[0].entered_unit
        unit = unit if unit in ("[ft_i]", "m") else "m"
        length_m, why = _fibre_length(spans, catalogue.policy, unit)
        quantity = to_length_millionths(length_m, unit)
        yield Need(
            section="fibre",
            title=_fibre_title(material, owner),
            unit=unit,
            quantity=quantity,
            mean=quantity,
            why=f"Run {run}: {why}",
            first_position=step.position,
            material=material,
            owner=owner,
            run=run,
            cable_size=run.cable_size,
        )


def _fibre_title(material: Material | None, owner: Party) -> str:
    """Whose fibre it is stands with its name: a reel of ours is not blown in its place."""
    name = material.name if material else "Fibre cable (job names none)"
    return name if owner.is_company else f"{name}, furnished by {owner.name}"


def to_length_millionths(length_m: float, unit: str) -> int:
    """A length in millionths of a unit of length, rounded up beyond what floating point adds of its own."""
    exact = convert(Fraction(str(round(length_m, 9))), "m", unit) * MILLION
    return -int(-exact // 1)


def _fibre_length(spans: list[Span], policy: EstimatingPolicy, unit: str) -> tuple[float, str]:
    slack = [span.slack_um / UM_PER_M if span.slack_um else policy.slack_m for span in spans]
    length = cable_length_m(
        span_lengths_m=[span.found_length_m for span in spans],
        slack_m=slack,
        tails_m=[policy.tail_m, policy.tail_m],
        allowance_fraction=policy.fibre_allowance_fraction,
    )
    route = sum(span.found_length_m for span in spans)

    def show(metres: float) -> str:
        return format_amount(convert(round(metres, 6), "m", unit), unit)

    why = (
        f"{count(len(spans), 'span')} of {show(route)} in all, slack {show(sum(slack))}, "
        f"two tails of {show(policy.tail_m)}, {policy.fibre_allowance_fraction:.0%} allowance; "
        "in one piece."
    )
    return length, why


def _show_bore(size: CableSize) -> str:
    return format_amount(round(size.bore_mm, 2), "mm")


def _in_ten(quantile: float) -> str:
    return f"{quantile * 100:g} of 100"


def show_need(need: Need) -> str:
    """The kit's quantity as people write it; pieces without their unit."""
    if need.unit == "1":
        return format_millionths(need.quantity, "1").removesuffix(f" {unit_label('1')}")
    return format_millionths(need.quantity, need.unit)
