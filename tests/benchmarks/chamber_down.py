"""How long it takes from a chamber's failure to a checked plan around it, on a served installation.

    python -m tests.benchmarks.chamber_down FOLDER …

Each FOLDER holds an installation with a plan in use, such as the one that `lagan demo` leaves; a
copy of it is worked on. The chamber whose run is under way or comes next fails, until a day after
that run would have ended, at the moment at which the plan was made or a later one. The service has
planned before, as one that serves has. Printed are the seconds from the record of the failure to
the checked plan, building the problem and starting the planner included, and what the plan changes.
"""

import argparse
import os
import shutil
import time
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from scheduler.changes import changes
from service.facility.plans import adopted, repair_draft
from service.installation import Installation
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Role

DOWN = timedelta(days=1)


def measure(folder: Path, later: timedelta) -> str:
    """One line of the table. ``ValueError`` when the installation has no plan in use."""
    with TemporaryDirectory() as scratch:
        copied = Path(scratch) / "installation"
        shutil.copytree(folder, copied)
        moment: list[datetime] = []
        here = Installation(Settings(folder=copied), now=lambda: moment[0])
        try:
            with here.database.read() as session:
                plan = adopted(session, here.photos)
            if plan is None:
                raise ValueError(f"{folder}: no plan is in use")
            moment.append(plan[0].epoch + later)
            minute = round(later.total_seconds() / 60)
            to_come = [run for run in plan[1].runs if run.end > minute]
            failing = min(to_come, key=lambda run: (run.start, run.id))
            again = plan[0].epoch + timedelta(minutes=failing.end) + DOWN
            # What a service that made the plan before has worked out already.
            repair_draft(here)
            began, before = time.monotonic(), os.times()
            here.log.say(
                ev.StationClosed(
                    station=failing.station,
                    starts_at=moment[0],
                    ends_at=again,
                    reason="invented failure",
                ),
                actor="benchmark",
                role=Role.LEAD,
            )
            made = repair_draft(here)
            took, after = time.monotonic() - began, os.times()
            worked = sum(after[:4]) - sum(before[:4])
            problem = made.planning.problem
            moved = len(changes(problem, made.plan))
            runs = sum(run.station == failing.station for run in to_come)
            hours = later.total_seconds() / 3600
            late = made.plan.amounts.late_items
            return (
                f"| {len(problem.items)} | {runs} | {hours:g} | {took:.1f} | {worked:.1f} | "
                f"{moved} | {late} |"
            )
        finally:
            here.close()


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--hours", nargs="+", type=float, default=[0.0, 24.0, 72.0])
    options = parser.parse_args()
    print("| pieces | runs in it | hours on | seconds | of a processor | pieces moved | late |")
    print("|--:|--:|--:|--:|--:|--:|--:|")
    for folder in options.folders:
        for hours in options.hours:
            print(measure(folder, timedelta(hours=hours)), flush=True)


if __name__ == "__main__":
    main()
