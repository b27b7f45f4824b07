"""Command line: make a plan for a problem document, or check one."""

import argparse
import sys
from pathlib import Path

from pydantic import ValidationError

from scheduler.check import Report, check
from scheduler.plan import Plan, read_plan
from scheduler.problem import Problem, read_problem

USAGE, FAILED = 2, 1


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (1: a failed check or no plan, 2: bad usage)."""
    options = _parser().parse_args(arguments)
    try:
        problem = read_problem(options.problem)
        if options.check is not None:
            return _check(problem, read_plan(options.check))
        return _solve(problem, options)
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
    return parser


def _solve(problem: Problem, options: argparse.Namespace) -> int:
    # The solver takes a second to load, which --check and a bad document need not wait for.
    from scheduler.solve import NoPlanError, Progress, solve  # noqa: PLC0415

    def tell(progress: Progress) -> None:
        gap = "no plan yet" if progress.gap is None else f"gap {progress.gap:.2%}"
        print(
            f"{progress.seconds:6.1f} s  {progress.phase:<14}  best {progress.objective}  "
            f"bound {progress.bound}  {gap}",
            file=sys.stderr,
        )

    try:
        plan = solve(
            problem,
            seconds=options.seconds,
            seed=options.seed,
            workers=options.workers,
            on_progress=tell,
        )
    except NoPlanError as error:
        print(error, file=sys.stderr)
        return FAILED
    text = plan.model_dump_json(indent=1)
    if options.out is None:
        print(text)
    else:
        options.out.write_text(text + "\n")
        print(_summary(plan))
    return 0


def _check(problem: Problem, plan: Plan) -> int:
    report: Report = check(problem, plan)
    print(_summary(plan))
    for breach in report.breaches:
        print(breach, file=sys.stderr)
    print("passed" if report.passed else f"failed: {report.first}")
    return 0 if report.passed else FAILED


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
