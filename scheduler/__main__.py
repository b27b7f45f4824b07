"""Command line: make a plan for a problem document, check one, or say why it is as it is."""

import argparse
import json
import signal
import sys
import threading
from dataclasses import asdict
from datetime import UTC, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, TextIO
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import TypeAdapter, ValidationError

from scheduler.changes import changes
from scheduler.check import PlanBrokenError, Report, check
from scheduler.explain import explain
from scheduler.plan import Plan, read_plan
from scheduler.problem import Item, Problem, read_problem

if TYPE_CHECKING:
    from scheduler.solve import Progress

USAGE, FAILED = 2, 1


class _NoPlanMadeError(ValueError):
    """No plan was made; the message says why."""


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (1: a failed check or no plan, 2: bad usage)."""
    options = _parser().parse_args(arguments)
    try:
        problem = read_problem(options.problem)
        if options.explain is not None and all(i.id != options.explain for i in problem.items):
            print(f"--explain: the problem has no item {options.explain!r}", file=sys.stderr)
            return USAGE
        last = None if options.changes is None else read_plan(options.changes)
        if options.promise is not None:
            if options.check is None or options.out is None:
                print("--promise: give the present plan as --check, and --out", file=sys.stderr)
                return USAGE
            return _promise(problem, read_plan(options.check), options)
        if options.check is not None:
            return _check(problem, read_plan(options.check), last, options.explain)
        return _solve(problem, last, options)
    except OSError as error:
        print(f"{error.filename}: {error.strerror}", file=sys.stderr)
        return USAGE
    except ValidationError as error:
        print(_listed(error), file=sys.stderr)
        return USAGE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m scheduler", description=__doc__)
    parser.add_argument("problem", type=Path, help="problem document (JSON)")
    parser.add_argument("--seconds", type=float, default=60.0, help="time to spend (default 60)")
    parser.add_argument("--seed", type=int, default=0, help="same seed, same search (default 0)")
    parser.add_argument("--workers", type=int, default=2, help="threads (default 2)")
    parser.add_argument("--out", type=Path, help="write the plan here instead of standard output")
    parser.add_argument(
        "--check", type=Path, metavar="PLAN", help="check this plan instead of making one"
    )
    parser.add_argument(
        "--explain", metavar="ITEM", help="say why this item ends when it does, and what it awaits"
    )
    parser.add_argument(
        "--changes",
        type=Path,
        metavar="OLD_PLAN",
        help="list what is different from this earlier plan, most harmful first; its minutes are "
        "taken to count from the problem's epoch",
    )
    parser.add_argument(
        "--repair",
        action="store_true",
        help="only put the problem's `previous` plan back around what has changed: a fraction of a "
        "second, no search",
    )
    parser.add_argument(
        "--promise",
        type=Path,
        metavar="ITEMS",
        help="say how soon these new items (a JSON list) could be done: beside the plan given as "
        "--check, with room made in it, and with harm; the answer goes to --out",
    )
    parser.add_argument(
        "--zone", type=_zone, default=UTC, help="time zone of what is said (default UTC)"
    )
    parser.add_argument(
        "--progress",
        choices=("words", "json"),
        default="words",
        help="how progress is told on standard error; json: an object a line with seconds, phase, "
        "objective (null before the first plan), bound and gap",
    )
    parser.add_argument(
        "--stop-gap",
        type=_share,
        metavar="SHARE",
        help="stop as soon as the plan is proven to be within this share of the best possible, "
        "say 0.05 (default: only when proven best, or out of time)",
    )
    return parser


def _share(text: str) -> float:
    """A number from 0 to 1.

    Raises:
        argparse.ArgumentTypeError: it is not one.
    """
    try:
        share = float(text)
    except ValueError:
        share = -1.0
    if not 0 <= share <= 1:
        raise argparse.ArgumentTypeError(f"{text!r} is no share; give a number from 0 to 1")
    return share


def _zone(name: str) -> tzinfo:
    """The time zone of this name.

    Raises:
        argparse.ArgumentTypeError: there is none.
    """
    try:
        return ZoneInfo(name)
    except (ValueError, ZoneInfoNotFoundError):
        raise argparse.ArgumentTypeError(
            f"{name!r} is no time zone; give one such as Europe/Dublin"
        ) from None


def _promise(problem: Problem, plan: Plan, options: argparse.Namespace) -> int:
    """How soon new items could be done. An interrupt ends each part with what it has."""
    from scheduler.promise import answer_of, promise  # noqa: PLC0415

    items = TypeAdapter(tuple[Item, ...]).validate_json(options.promise.read_bytes())
    interrupted = threading.Event()
    signal.signal(signal.SIGINT, lambda *_: interrupted.set())
    try:
        found = promise(
            problem,
            plan,
            items,
            seconds=options.seconds,
            seed=options.seed,
            on_progress=lambda progress: _tell(progress, options.progress),
            should_stop=interrupted.is_set,
            zone=options.zone,
        )
    except ValidationError:
        raise
    except ValueError as error:
        print(error, file=sys.stderr)
        return FAILED
    options.out.write_text(answer_of(found, options.zone).model_dump_json(indent=1) + "\n")
    print(found)
    return 0


def _tell(progress: "Progress", manner: str) -> None:
    if manner == "json":
        told = asdict(progress) | {"gap": progress.gap}
        print(json.dumps(told), file=sys.stderr, flush=True)
        return
    gap = "no plan yet" if progress.gap is None else f"gap {progress.gap:.2%}"
    print(
        f"{progress.seconds:6.1f} s  {progress.phase:<14}  best {progress.objective}  "
        f"bound {progress.bound}  {gap}",
        file=sys.stderr,
    )


def _solve(problem: Problem, last: Plan | None, options: argparse.Namespace) -> int:
    try:
        plan = _repaired(problem) if options.repair else _searched(problem, options)
    except _NoPlanMadeError as error:
        print(error, file=sys.stderr)
        return FAILED
    text = plan.model_dump_json(indent=1)
    if options.out is None:
        print(text)
        words = sys.stderr
    else:
        options.out.write_text(text + "\n")
        print(_summary(plan))
        words = sys.stdout
    _say(problem, plan, last, options.explain, words)
    return 0


def _repaired(problem: Problem) -> Plan:
    """The last plan put back. Raises ``_NoPlanMadeError``."""
    from scheduler.dispatch import NoDispatchError  # noqa: PLC0415
    from scheduler.repair import repaired  # noqa: PLC0415

    try:
        return repaired(problem)
    except (NoDispatchError, PlanBrokenError) as error:
        raise _NoPlanMadeError(error) from error


def _searched(problem: Problem, options: argparse.Namespace) -> Plan:
    """The best plan found in the time. Raises ``_NoPlanMadeError``."""
    # The solver takes a second to load, which --check and a bad document need not wait for.
    from scheduler.solve import NoPlanError, solve  # noqa: PLC0415

    try:
        return solve(
            problem,
            seconds=options.seconds,
            seed=options.seed,
            workers=options.workers,
            on_progress=lambda progress: _tell(progress, options.progress),
            stop_gap=options.stop_gap,
        )
    except NoPlanError as error:
        raise _NoPlanMadeError(error) from error


def _check(problem: Problem, plan: Plan, last: Plan | None, item: str | None) -> int:
    report: Report = check(problem, plan)
    print(_summary(plan))
    for breach in report.breaches:
        print(breach, file=sys.stderr)
    print("passed" if report.passed else f"failed: {report.first}")
    if not report.passed:
        return FAILED
    _say(problem, plan, last, item, sys.stdout)
    return 0


def _say(problem: Problem, plan: Plan, last: Plan | None, item: str | None, stream: TextIO) -> None:
    """What was asked about the plan, in words."""
    if last is not None:
        found = changes(problem, plan, last.placements)
        print("\n".join(map(str, found)) or "nothing is different", file=stream)
    if item is not None:
        print(explain(problem, plan, item), file=stream)


def _summary(plan: Plan) -> str:
    amounts = "  ".join(f"{name}={value}" for name, value in plan.amounts.model_dump().items())
    return (
        f"{plan.status}: objective={plan.objective} bound={plan.bound} gap={plan.gap:.2%}\n"
        f"{amounts}\nruns={len(plan.runs)} seconds={plan.seconds}"
    )


def _listed(error: ValidationError) -> str:
    return "\n".join(
        f"{'.'.join(map(str, e['loc'])) or 'document'}: {e['msg']}" for e in error.errors()
    )


if __name__ == "__main__":
    sys.exit(main())
