"""The readers of published batch instances, on instances of our own in the same formats."""

from pathlib import Path

import pytest

from scheduler.solve import solve
from tests.benchmarks import oven, pbatch
from tests.benchmarks.batches import best_known, plain_schedule
from tests.benchmarks.table import read_line, table_of

OVEN = """
l=100; % horizon
a=2;
setup_costs=[|0,5,
|7,1,
|0,0|];
setup_times=[|0,2,
|3,1,
|0,0|];
m=2;
max_cap=[10,6];
initState=[2,3];
s=2;
m_a_s=[|0,50,
|0,0|];
m_a_e=[|40,100,
|100,0|];
n=4;
eligible_machine=[{1},
{1,2},
{2},
{1,2}];
earliest_start=[0,0,5,0];
latest_end=[12,12,9,30];
min_time=[8,9,6,4];
max_time=[9,9,20,30];
size=[4,6,3,6];
attribute=[1,1,2,2];
mult_factor_total_runtime=2;
mult_factor_finished_toolate=100;
mult_factor_total_setupcosts=3;
"""
BATCH = "2 2 2\n2 5 9\n0 6 0.50\n1 5 0.25\n3 30 1.00\n0 9 0.10\n"


def written(folder: Path, name: str, text: str) -> Path:
    file = folder / name
    file.write_text(text)
    return file


def test_an_oven_instance_is_read_as_it_is_written(tmp_path: Path) -> None:
    problem = oven.read(written(tmp_path, "one.dzn", OVEN))
    first, second = problem.stations
    assert (first.kind, second.kind) == ("chamber", "chamber")
    assert first.kind == "chamber" and second.kind == "chamber"
    assert (first.usable_l, first.windows, first.starts_in) == (10, ((0, 40), (50, 100)), "a2")
    # An attribute beyond the last stands for none; an empty window is no window.
    assert (second.windows, second.starts_in) == (((0, 100),), None)
    costs = {(c.after, c.into): (c.minutes, c.cost) for c in problem.clean_downs}
    assert costs["a2", "a1"] == (3, 7)
    assert costs[None, "a1"] == costs[None, "a2"] == (0, 0)
    bake = problem.items[2].steps[0]
    assert (problem.items[2].release_min, problem.items[2].due_min) == (5, 9)
    assert (bake.min_min, bake.max_min) == (6, 20)
    weights = problem.weights
    assert (weights.lateness, weights.late_items) == (0, 100)
    assert (weights.running_min, weights.clean_down_cost) == (2, 3)


def test_the_best_of_an_oven_instance_is_what_its_rules_give_by_hand(tmp_path: Path) -> None:
    # Jobs 1 and 2 fill oven 1 together for 9 min, after a setup of 3 min and cost 7 from its
    # attribute 2: 3 to 12, in time. Job 3 can't be in time (5 + 6 > 9): oven 2 for 6 min, and
    # job 4, too large to join it (3 + 6 > 6), runs there alone after a setup of cost 1, or before
    # it at no cost for the setup of an oven in no state; either way one setup of cost 1.
    problem = oven.read(written(tmp_path, "one.dzn", OVEN))
    plan = solve(problem, seconds=20)
    assert plan.status == "optimal"
    assert plan.objective == 2 * (9 + 6 + 4) + 100 + 3 * (7 + 1)
    for batch in plain_schedule(problem, plan):
        assert batch.keys() == {"batch", "machine", "start", "duration", "jobs"}
    together = [b for b in plain_schedule(problem, plan) if b["jobs"] == [1, 2]]
    assert [(b["machine"], b["start"], b["duration"]) for b in together] == [(1, 3, 9)]


def test_a_weighted_tardiness_instance_is_read_in_hundredths(tmp_path: Path) -> None:
    problem = pbatch.read(written(tmp_path, "one.txt", BATCH))
    assert len(problem.stations) == 2
    assert [p.id for p in problem.programmes] == ["f1", "f2"]
    assert [(i.release_min, i.weight) for i in problem.items] == [
        (0, 50),
        (1, 25),
        (3, 100),
        (0, 10),
    ]
    steps = [item.steps[0] for item in problem.items]
    assert [(s.min_min, s.due_min) for s in steps] == [(5, 6), (5, 5), (9, 30), (9, 9)]
    # Jobs 1 and 2 share a run from 1 to 6: job 2 is 1 late at 0.25. Job 4 runs 0 to 9, in time,
    # on the other machine, and job 3 after the first: nothing else is late.
    plan = solve(problem, seconds=20)
    assert (plan.status, plan.objective) == ("optimal", 25)


def test_the_best_known_is_looked_up_by_name(tmp_path: Path) -> None:
    file = written(tmp_path, "one.dzn", OVEN)
    assert best_known(file, "best_int", 1) is None
    written(tmp_path, "best_known.csv", "file,best_int\nfar/away/one.dzn,42\nother.dzn,7\n")
    assert best_known(file, "best_int", 1) == 42
    assert best_known(tmp_path / "two.dzn", "best_int", 1) is None


def test_the_table_counts_what_is_better_equal_and_proven() -> None:
    rows = [
        read_line("a b: objective=90 bound=80 best_known=100 seconds=60.1"),
        read_line("c: objective=12.5 bound=12.5 best_known=12.5 seconds=3"),
        read_line("d: objective=0 bound=0 best_known=0 seconds=1"),
        read_line("e: objective=11 bound=1 best_known=10 seconds=60"),
    ]
    text = "\n".join(table_of("Four", rows))
    assert "mean 1.0000, median 1.0000, worst 1.1000" in text
    assert "better on 1, equal on 2; proven on 2." in text
    assert "| a b | 90 | 80 | 100 | 0.9000 | no | 60.1 |" in text
    with pytest.raises(ValueError, match="not a line of an adapter"):
        read_line("objective=90")
