"""What the adapters of batch-machine instances share: solving one, and writing what came of it."""

import argparse
import csv
import json
import sys
from collections.abc import Callable
from pathlib import Path

from scheduler.plan import Plan
from scheduler.problem import Problem
from scheduler.solve import Progress, solve, warm_up

BEST_KNOWN = "best_known.csv"


def best_known(instance: Path, column: str, scale: int) -> float | None:
    """The best published objective of an instance, from the table beside it; None without one.

    The table's `file` column may have folders in front of the name; `column` holds the objective,
    given in units of 1 / `scale`.
    """
    table = instance.parent / BEST_KNOWN
    if not table.is_file():
        return None
    with table.open(newline="") as lines:
        for row in csv.DictReader(lines):
            if Path(row["file"]).name == instance.name:
                return round(float(row[column]) * scale) / scale
    return None


def plain_schedule(problem: Problem, plan: Plan) -> list[dict[str, object]]:
    """The runs as anybody can score them: the instance's own 1-based numbers, and minutes."""
    jobs = {item.id: n for n, item in enumerate(problem.items, start=1)}
    machines = {station.id: n for n, station in enumerate(problem.stations, start=1)}
    return [
        {
            "batch": n,
            "machine": machines[run.station],
            "start": run.start,
            "duration": run.end - run.start,
            "jobs": sorted(jobs[item] for item in run.items),
        }
        for n, run in enumerate(plan.runs, start=1)
    ]


def main(
    name: str, read: Callable[[Path], Problem], column: str, scale: int, arguments: list[str] | None
) -> int:
    """Command line of an adapter: solve the instances named, print a line for each."""
    parser = argparse.ArgumentParser(prog=f"python -m tests.benchmarks.{name}")
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--out", type=Path, help="write the schedule here (JSON)")
    parser.add_argument("--progress", action="store_true", help="tell of each better plan")
    options = parser.parse_args(arguments)
    missing = [file for file in options.files if not file.is_file()]
    if missing:
        print(f"{missing[0]}: no such instance", file=sys.stderr)
        return 2
    # Compiling takes most of a minute on a new machine and is not part of solving.
    warm_up()
    for file in options.files:
        problem = read(file)
        plan = solve(
            problem,
            seconds=options.seconds,
            seed=options.seed,
            workers=options.workers,
            on_progress=_told if options.progress else None,
        )
        best = best_known(file, column, scale)
        print(
            f"{file.name}: objective={_in_units(plan.objective, scale)} "
            f"bound={_in_units(plan.bound, scale)} "
            f"best_known={'unknown' if best is None else f'{best:.10g}'} seconds={plan.seconds}",
            flush=True,
        )
        if options.out is not None:
            options.out.write_text(json.dumps(plain_schedule(problem, plan), indent=1) + "\n")
    return 0


def _in_units(value: int, scale: int) -> str:
    return f"{value / scale:.10g}"


def _told(progress: Progress) -> None:
    print(f"{progress.seconds:8.2f} {progress.phase} {progress.objective}", file=sys.stderr)
