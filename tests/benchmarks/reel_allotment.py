"""How many known instances are solved with proof, how fast, and how that compares with a plain model.

    REEL_DATA=FOLDER python -m tests.benchmarks reel_allotment

FOLDER holds `bpp/` and `vscsp/` with public instances, which are not part of this project; without it they
are left out and that is said. The days of work are made here from fixed seeds. The plain model is an
assignment model for CP-SAT, run where OR-Tools is installed, side by side and given the time the allotment
took, and a second at least.
"""

import importlib
import importlib.util
import os
import random
import time
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from statistics import median
from typing import Any

from jobs.calc.reels.allotment import allot_reels
from jobs.calc.reels.kinds import Cut, Reel
from tests.benchmarks.measurement import Measurement

Instance = tuple[str, list[Reel], list[Cut]]
# Least number of reels, least cost. Where from and how known: of one length, read with bounds that meet in
# BPPLIB (Delorme, Iori and Martello 2018), most of them solved again with highspy 1.16.0; of several lengths,
# instances after Crainic et al. and Hemmelmayr et al., proven with highspy 1.16.0 (arc flow).
OPTIMA = {
    "Falkenauer_u120_00": 48, "Falkenauer_u120_05": 48, "Falkenauer_u120_19": 49, "Falkenauer_u250_00": 99,
    "Falkenauer_u500_00": 198, "Falkenauer_t60_00": 20, "Falkenauer_t60_19": 20, "N1C1W1_A": 25,
    "N1C3W4_Q": 25, "N2C1W1_A": 48, "N3C2W2_D": 107, "N1W4B3R9": 6, "Schwerin2_BPP10": 21,
    "Waescher_TEST0082": 24, "Waescher_TEST0005": 28, "Hard28_BPP13": 67, "Hard28_BPP119": 77,
    "Hard28_BPP144": 73, "Hard28_BPP359": 76, "Hard28_BPP716": 76, "Crainic1_1_A_0_8": 1200,
    "Crainic1_1_B_1_0": 2640, "Crainic1_2_A_2_1": 5780, "Crainic3_100_0_0_000": 130,
    "Crainic3_100_1_0_004": 1580, "Crainic3_500_1_1_004": 8980, "Crainic2_100_6_1": 6196,
    "Hemmelmayr1_100_7_1_4": 12550,
}  # fmt: skip
INSTANCE_SECONDS = 30.0
DAY_SECONDS = 5.0
DAYS = 8


def read_one_length(path: Path) -> Instance:
    """Number of items, capacity, items."""
    count, capacity, *sizes = (int(float(word)) for word in path.read_text().split())
    reels = [Reel(id="reel", length=Fraction(capacity), available=count)]
    return path.stem, reels, [Cut(id=str(i), length=Fraction(size)) for i, size in enumerate(sizes[:count])]


def read_several_lengths(path: Path) -> Instance:
    """Number of reel kinds; length, number, cost of each; number of sizes; size and demand of each."""
    words = iter(path.read_text().split())
    reels = [
        Reel(
            id=str(kind),
            length=Fraction(next(words)),
            available=int(next(words)),
            cost=Fraction(next(words)),
        )
        for kind in range(int(next(words)))
    ]
    sizes = range(int(next(words)))
    return (
        path.stem,
        reels,
        [Cut(id=str(i), length=Fraction(next(words)), count=int(next(words))) for i in sizes],
    )


def make_day(seed: int) -> Instance:
    """200 runs on 60 reels of mixed lengths, three quarters of what is there wanted."""
    chance = random.Random(seed)
    reels = [
        Reel(
            id=f"reel {i}",
            length=Fraction(int(chance.choice([chance.uniform(400, 2500), chance.uniform(2000, 7000)]))),
        )
        for i in range(60)
    ]
    shares = [chance.lognormvariate(6, 0.5) for _ in range(200)]
    scale = 0.75 * float(sum(reel.length for reel in reels)) / sum(shares)
    longest = max(float(reel.length) for reel in reels)
    cuts = [
        Cut(id=f"run {i}", length=Fraction(int(10 * min(share * scale, 0.9 * longest)), 10))
        for i, share in enumerate(shares)
    ]
    return f"day {seed}", reels, cuts


def measure(instance: Instance, seconds: float, *, is_plain: bool) -> dict[str, Any]:
    name, reels, cuts = instance
    start, processor = time.perf_counter(), time.process_time()
    end = time.monotonic() + seconds
    found = allot_reels(reels=reels, cuts=cuts, seconds_left=lambda: end - time.monotonic())
    row: dict[str, Any] = {
        "name": name,
        "cost": float(found.cost),
        "bound": float(found.lower_bound),
        "is_cost_proven": found.cost == found.lower_bound and not found.unserved,
        "is_proven": found.is_proven_optimal,
        "seconds": time.perf_counter() - start,
        "processor": time.process_time() - processor,
    }
    if is_plain:
        row["plain"] = solve_plainly(reels, cuts, max(1.0, row["seconds"]))
    return row


def solve_plainly(reels: list[Reel], cuts: list[Cut], seconds: float) -> str:
    """The assignment model: one Boolean for every cut and reel, one for every reel opened."""
    cp_model = importlib.import_module("ortools.sat.python.cp_model")
    sizes = [cut.length for cut in cuts for _ in range(cut.count)]
    kinds = [reel for reel in reels for _ in range(min(reel.available, len(sizes)))]
    factor = max(length.denominator for length in [*sizes, *(reel.length for reel in reels)])
    model = cp_model.CpModel()
    opened = [model.new_bool_var("") for _ in kinds]
    takes = [[model.new_bool_var("") for _ in kinds] for _ in sizes]
    for row in takes:
        model.add_exactly_one(row)
    for index, reel in enumerate(kinds):
        used = sum(int(size * factor) * row[index] for size, row in zip(sizes, takes, strict=True))
        model.add(used <= int(reel.length * factor) * opened[index])
    model.minimize(sum(int(100 * reel.cost) * var for reel, var in zip(kinds, opened, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds
    solver.parameters.num_workers = 2
    start = time.perf_counter()
    status = solver.solve(model)
    taken = time.perf_counter() - start
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return f"nothing found in {taken:.1f} s"
    word = "proven" if status == cp_model.OPTIMAL else f"bound {solver.best_objective_bound / 100:g}"
    return f"{solver.objective_value / 100:g}, {word}, {taken:.1f} s"


def read_folder(folder: Path | None) -> Iterator[tuple[str, list[Instance]]]:
    if folder is None or not folder.is_dir():
        print("REEL_DATA names no folder: the public instances are left out.")
        return
    for name, read in (("bpp", read_one_length), ("vscsp", read_several_lengths)):
        yield name, [read(path) for path in sorted((folder / name).glob("*.txt"))]


def measure_all(title: str, instances: list[Instance], seconds: float) -> list[dict[str, Any]]:
    is_plain = importlib.util.find_spec("ortools") is not None
    print(f"{title}, {seconds:g} s each")
    rows = []
    for instance in instances:
        row = measure(instance, seconds, is_plain=is_plain)
        rows.append(row)
        proof = "proven" if row["is_proven"] else "cost proven" if row["is_cost_proven"] else "open"
        plain = f"   plain: {row['plain']}" if is_plain else ""
        print(
            f"  {row['name']:28} {row['cost']:>8g} >= {row['bound']:<8g} {proof:12} "
            f"{row['seconds']:6.2f} s, {row['processor']:6.2f} s of processor{plain}",
            flush=True,
        )
    return rows


def compare_with_known(name: str, rows: list[dict[str, Any]]) -> Iterator[Measurement]:
    """How far the worst is off, and whether what is called proven or a bound contradicts what is known."""
    known = [(row, OPTIMA[row["name"]]) for row in rows if row["name"] in OPTIMA]
    off = max((row["cost"] - optimum for row, optimum in known), default=0)
    # One reel of the one length; of several lengths one hundredth of the cost.
    most = 1 if name == "bpp" else 0.01 * max((optimum for _row, optimum in known), default=0)
    yield Measurement(what=f"{name}, worst above the known optimum", value=off, unit="", at_most=most)
    wrong = sum(row["bound"] > optimum or row["cost"] < optimum for row, optimum in known)
    yield Measurement(what=f"{name}, bounds or costs that cannot be", value=wrong, unit="", at_most=0)


def main() -> list[Measurement]:
    named = os.environ.get("REEL_DATA")
    found: list[Measurement] = []
    # Of 20 instances with one length 16, of 8 with several lengths 6, and half of all within a second.
    wanted = {"bpp": 16 / 20, "vscsp": 6 / 8}
    seconds: list[float] = []
    for name, instances in read_folder(Path(named) if named else None):
        rows = measure_all(name, instances, INSTANCE_SECONDS)
        proven = [row["seconds"] for row in rows if row["is_proven"]]
        seconds += proven + [INSTANCE_SECONDS] * (len(rows) - len(proven))
        least = wanted[name] * len(rows)
        found.append(
            Measurement(what=f"{name} proven of {len(rows)}", value=len(proven), unit="", at_least=least)
        )
        found += compare_with_known(name, rows)
    if seconds:
        found.append(Measurement(what="median time to proof", value=median(seconds), unit="s", at_most=1))
    days = measure_all("days", [make_day(seed) for seed in range(DAYS)], DAY_SECONDS)
    gap = max(1 - row["bound"] / row["cost"] for row in days)
    slowest = max(row["seconds"] for row in days)
    found.append(Measurement(what="widest gap of a day's cost", value=100 * gap, unit="%", at_most=1))
    found.append(Measurement(what="slowest day", value=slowest, unit="s", at_most=DAY_SECONDS + 0.5))
    return found
