"""What the scheduler makes of the invented facilities, as tables and a plot.

    python -m tests.benchmarks.facility_report --items 50 200 1000 --seconds 60 --out FILE.md

writes FILE.md, and beside it FILE.svg with the growth of time and memory. Every solve and every
rule runs in a process of its own, so that its peak memory (maximum resident set size, imports
included) is its own. Times are wall time; compiling and the making of the problem are outside
them.
"""

import argparse
import math
import multiprocessing
import resource
import shlex
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import ParamSpec, TypeVar

from scheduler.dispatch import NoDispatchError, dispatch
from scheduler.plan import Plan
from scheduler.solve import NoPlanError, Progress, solve, warm_up
from tests.benchmarks.facility import DAY, DEFAULT_LOAD, SIZES, facility
from tests.benchmarks.replanning import SCENARIOS, Replan, busy_moment, plan_again

P = ParamSpec("P")
T = TypeVar("T")

FIRST_COME, EARLIEST_DEADLINE = "arrival", "deadline"
RULE_NAMES = {FIRST_COME: "first come, first served", EARLIEST_DEADLINE: "earliest deadline first"}
# Linux counts maximum resident set size in KiB, macOS in bytes.
MAXRSS_PER_MIB = 2**20 if sys.platform == "darwin" else 2**10


@dataclass(frozen=True)
class Measured:
    """A plan's figures. `first_s`: seconds to the first plan; `peak_mib`: of the whole process."""

    items: int
    method: str
    objective: int
    bound: int
    gap: float
    seconds: float
    first_s: float
    peak_mib: float
    runs: int
    late_items: int
    lateness: int
    finish_min: int


def measure_solve(items: int, seed: int, load: float, seconds: float) -> Measured | None:
    """Solve a facility in this process; None if no plan was found in time."""
    problem = facility(items, seed, load).problem
    warm_up()
    began = time.monotonic()
    first: list[float] = []

    def told(progress: Progress) -> None:
        if progress.objective is not None and not first:
            first.append(time.monotonic() - began)

    try:
        plan = solve(problem, seconds=seconds, seed=seed, on_progress=told)
    except NoPlanError:
        return None
    return _measured(items, "solve", plan, time.monotonic() - began, first[0])


def measure_rule(items: int, seed: int, load: float, rule: str) -> Measured | None:
    """Dispatch a facility by one rule in this process; None if the rule found no plan."""
    problem = facility(items, seed, load).problem
    began = time.monotonic()
    try:
        plan = dispatch(problem, rule)
    except NoDispatchError:
        return None
    took = time.monotonic() - began
    return _measured(items, RULE_NAMES[rule], plan, took, took)


def measure_replans(items: int, seed: int, load: float, seconds: float) -> list[Replan]:
    """Plan a facility by one rule, then every scenario again at a busy moment."""
    problem = facility(items, seed, load).problem
    warm_up()
    plan = dispatch(problem, EARLIEST_DEADLINE)
    moment = busy_moment(plan)
    return [plan_again(name, problem, plan, moment, seconds, seed)[0] for name in SCENARIOS]


def in_own_process(function: Callable[P, T], *arguments: P.args, **options: P.kwargs) -> T:
    """The function's result, worked out in a fresh process."""
    fresh = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=1, mp_context=fresh) as pool:
        return pool.submit(function, *arguments, **options).result()


def _measured(items: int, method: str, plan: Plan, seconds: float, first_s: float) -> Measured:
    return Measured(
        items=items,
        method=method,
        objective=plan.objective,
        bound=plan.bound,
        gap=plan.gap,
        seconds=seconds,
        first_s=first_s,
        peak_mib=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MAXRSS_PER_MIB,
        runs=len(plan.runs),
        late_items=plan.amounts.late_items,
        lateness=plan.amounts.lateness,
        finish_min=plan.amounts.finish,
    )


def solve_table(rows: Sequence[Measured]) -> str:
    """Markdown: one row for each size."""
    return _table(
        "pieces | objective | bound | gap | seconds | first plan s | peak MiB | runs | late pieces"
        " | value-weighted lateness, days | finish, days",
        [
            [
                f"{row.items:,}",
                f"{row.objective:,}",
                f"{row.bound:,}",
                f"{row.gap:.1%}",
                f"{row.seconds:.1f}",
                f"{row.first_s:.2f}",
                f"{row.peak_mib:.0f}",
                f"{row.runs:,}",
                f"{row.late_items:,}",
                f"{row.lateness / DAY:,.1f}",
                f"{row.finish_min / DAY:.1f}",
            ]
            for row in rows
        ],
    )


def comparison_table(solved: Sequence[Measured], rules: Sequence[Measured]) -> str:
    """Markdown: for each size, the plan beside those of the two plain rules."""
    rows = []
    for size in dict.fromkeys(row.items for row in (*solved, *rules)):
        own = {row.method: row for row in (*solved, *rules) if row.items == size}
        cells = [f"{size:,}"]
        for show in (_lateness, _runs, _finish):
            for method in ("solve", *RULE_NAMES.values()):
                cells.append(show(own[method]) if method in own else "no plan")
        rows.append(cells)
    short = ("ours", "first come", "deadline")
    return _table(
        "pieces | "
        + " | ".join(
            f"{what}: {who}"
            for what in ("value-weighted lateness, days", "runs", "finish, days")
            for who in short
        ),
        rows,
    )


def _lateness(row: Measured) -> str:
    return f"{row.lateness / DAY:,.1f}"


def _runs(row: Measured) -> str:
    return f"{row.runs:,}"


def _finish(row: Measured) -> str:
    return f"{row.finish_min / DAY:.1f}"


def replan_table(replans: Sequence[Replan]) -> str:
    """Markdown: one row for each scenario."""
    return _table(
        "scenario | first plan s | seconds | fixed steps | of them moved | steps changed",
        [
            [
                one.scenario,
                "none found" if one.seconds_to_first is None else f"{one.seconds_to_first:.2f}",
                f"{one.seconds:.1f}",
                f"{one.fixed:,}",
                "-" if one.changes is None else str(one.moved_fixed),
                "-" if one.changes is None else f"{one.changes:,}",
            ]
            for one in replans
        ],
    )


def _table(heading: str, rows: Sequence[Sequence[str]]) -> str:
    columns = heading.count("|") + 1
    return "\n".join(
        [
            f"| {heading} |",
            "|" + "---|" * columns,
            *(f"| {' | '.join(cells)} |" for cells in rows),
        ]
    )


PANEL_W, PANEL_H, LEFT, TOP, BETWEEN = 300, 220, 70, 40, 100


def growth_plot(rows: Sequence[Measured]) -> str:
    """SVG: seconds to the first plan, and peak memory, against pieces, on logarithmic scales.

    Raises:
        ValueError: there is no row.
    """
    if not rows:
        raise ValueError("rows is empty; measure at least one size")
    panels = [
        _panel(
            LEFT, "Seconds to the first plan", [(row.items, max(row.first_s, 1e-3)) for row in rows]
        ),
        _panel(
            LEFT + PANEL_W + BETWEEN,
            "Peak memory, MiB",
            [(row.items, row.peak_mib) for row in rows],
        ),
    ]
    width, height = LEFT + 2 * PANEL_W + BETWEEN + 30, TOP + PANEL_H + 60
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="sans-serif" font-size="12">\n'
        f'<rect width="{width}" height="{height}" fill="#fff"/>\n'
        + "\n".join(panels)
        + "\n</svg>\n"
    )


def _panel(left: int, title: str, points: Sequence[tuple[int, float]]) -> str:
    """Axes in whole decades around the points, the points joined and each labelled."""
    low_x, high_x = _decades([x for x, _ in points])
    low_y, high_y = _decades([y for _, y in points])

    def across(x: float) -> float:
        return left + PANEL_W * (math.log10(x) - low_x) / (high_x - low_x)

    def down(y: float) -> float:
        return TOP + PANEL_H * (high_y - math.log10(y)) / (high_y - low_y)

    parts = [f'<text x="{left}" y="{TOP - 16}" font-weight="bold">{title}</text>']
    for decade in range(low_x, high_x + 1):
        x = across(10.0**decade)
        parts.append(f'<path d="M{x:.1f} {TOP}v{PANEL_H}" stroke="#ccc"/>')
        parts.append(
            f'<text x="{x:.1f}" y="{TOP + PANEL_H + 18}" text-anchor="middle">{10.0**decade:g}'
            "</text>"
        )
    for decade in range(low_y, high_y + 1):
        y = down(10.0**decade)
        parts.append(f'<path d="M{left} {y:.1f}h{PANEL_W}" stroke="#ccc"/>')
        parts.append(
            f'<text x="{left - 8}" y="{y + 4:.1f}" text-anchor="end">{10.0**decade:g}</text>'
        )
    parts.append(
        f'<text x="{left + PANEL_W / 2}" y="{TOP + PANEL_H + 40}" text-anchor="middle">pieces'
        "</text>"
    )
    places = [(across(x), down(y), y) for x, y in sorted(points)]
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in places)
    parts.append(f'<polyline points="{line}" fill="none" stroke="#1f5a8a" stroke-width="2"/>')
    for x, y, value in places:
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="#1f5a8a"/>')
        parts.append(f'<text x="{x:.1f}" y="{y - 8:.1f}" text-anchor="middle">{value:.3g}</text>')
    return "\n".join(parts)


def _decades(values: Sequence[float]) -> tuple[int, int]:
    low, high = math.floor(math.log10(min(values))), math.ceil(math.log10(max(values)))
    return low, max(high, low + 1)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure the sizes asked for, write the tables and the plot."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.facility_report")
    parser.add_argument("--items", type=int, nargs="+", default=list(SIZES[:3]))
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--load", type=float, default=DEFAULT_LOAD)
    parser.add_argument("--replan", type=int, help="also plan again at this size")
    parser.add_argument("--replan-seconds", type=float, default=5.0)
    parser.add_argument("--out", type=Path, required=True, help="write the tables here (Markdown)")
    options = parser.parse_args(arguments)
    solved, rules = [], []
    for items in options.items:
        found = in_own_process(measure_solve, items, options.seed, options.load, options.seconds)
        solved += [] if found is None else [found]
        print(f"{items}: {'no plan' if found is None else found}", flush=True)
        for rule in RULE_NAMES:
            dispatched = in_own_process(measure_rule, items, options.seed, options.load, rule)
            rules += [] if dispatched is None else [dispatched]
    given = sys.argv[1:] if arguments is None else arguments
    parts = [
        "# Invented facilities\n",
        f"`python -m tests.benchmarks.facility_report {shlex.join(given)}`\n",
        solve_table(solved),
        "\n## Beside two plain rules\n",
        comparison_table(solved, rules),
    ]
    if options.replan is not None:
        replans = in_own_process(
            measure_replans, options.replan, options.seed, options.load, options.replan_seconds
        )
        parts += [f"\n## Planned again, {options.replan:,} pieces\n", replan_table(replans)]
    if solved:
        plot = options.out.with_suffix(".svg")
        plot.write_text(growth_plot(solved))
        parts.append(f"\n![Growth of time and memory]({plot.name})")
    options.out.write_text("\n".join(parts) + "\n")
    return 0 if len(solved) == len(options.items) else 1


if __name__ == "__main__":
    sys.exit(main())
