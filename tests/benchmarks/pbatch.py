"""Weighted tardiness on parallel batch machines as problem documents.

    python -m tests.benchmarks.pbatch FILE.txt --seconds 60 --out schedule.json

prints `objective=… bound=… best_known=… seconds=…`. Problem and instances: T.-C. Chiang,
H.-C. Cheng and L.-C. Fu, "A memetic algorithm for minimizing total weighted tardiness on parallel
batch machines with incompatible job families and dynamic job arrival", Computers & Operations
Research 37(12):2257-2269, 2010. A machine is a chamber, a family a programme, a job a piece of one
litre. Weights have two decimals, so the objective is kept in hundredths.
"""

import sys
from datetime import UTC, datetime
from decimal import Decimal
from itertools import islice
from pathlib import Path

from scheduler.problem import BatchStep, Chamber, Item, Problem, Programme, Weights
from tests.benchmarks import batches

SCALE = 100


def read(file: Path) -> Problem:
    """The problem document of an instance."""
    words = iter(file.read_text().split())
    machines, per_family, capacity, families = (int(word) for word in islice(words, 4))
    minutes = [int(word) for word in islice(words, families)]
    names = tuple(f"f{n}" for n in range(1, families + 1))
    chambers = tuple(
        Chamber(id=f"m{n}", usable_l=capacity, programmes=names) for n in range(1, machines + 1)
    )
    items: list[Item] = []
    for name, shortest in zip(names, minutes, strict=True):
        for _ in range(per_family):
            release, due, weight = (Decimal(word) for word in islice(words, 3))
            items.append(
                Item(
                    id=f"j{len(items) + 1}",
                    release_min=int(release),
                    weight=int(weight * SCALE),
                    volume_l=1,
                    steps=(
                        BatchStep(
                            id="run",
                            stations=tuple(chamber.id for chamber in chambers),
                            programme=name,
                            min_min=shortest,
                            due_min=int(due),
                        ),
                    ),
                )
            )
    # Each job alone, one after another on one machine, ends by then.
    horizon = max(item.release_min for item in items) + per_family * sum(minutes)
    return Problem(
        epoch=datetime(2000, 1, 1, tzinfo=UTC),
        horizon_min=horizon,
        stations=chambers,
        programmes=tuple(Programme(id=name) for name in names),
        items=tuple(items),
        weights=Weights(lateness=1),
    )


if __name__ == "__main__":
    sys.exit(batches.main("pbatch", read, "best_twt", SCALE, None))
