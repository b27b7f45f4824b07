"""The interlock: its decision table, the edge of every condition, every state, every guard."""

from types import ModuleType

import pytest

from shared.clearance import clearance
from tests.shared import interlock_oracle as oracle
from tests.shared.interlock_cases import AT_THE_SERVICE, TABLE, expected, opens
from tests.shared.interlock_mutants import mutants
from tests.shared.interlock_search import search
from tests.shared.interlock_stories import (
    Given,
    Told,
    beside_stories,
    in_words,
    of_stories,
    stories,
)

COMPARES = ("at_most", "below")
TOLD = stories()


@pytest.mark.parametrize("compare", COMPARES)
@pytest.mark.parametrize(
    "case",
    [case for case in TABLE["cases"] if case["name"] not in AT_THE_SERVICE],
    ids=lambda case: case["name"],
)
def test_the_interlock_answers_as_the_decision_table(case: dict[str, str], compare: str) -> None:
    assert opens(case, compare) is expected(case, compare)


def test_a_unit_that_has_to_be_converted_is_converted_or_else_not_believed() -> None:
    (case,) = [one for one in TABLE["cases"] if one["expect"].startswith("CLEAR only after")]
    assert opens(case, "at_most", celsius="25")
    assert not opens(case, "at_most", celsius="")


def test_the_table_has_22_cases_and_none_is_left_out() -> None:
    names = [case["name"] for case in TABLE["cases"]]
    assert len(names) == len(set(names)) == 22
    assert set(names) >= AT_THE_SERVICE


@pytest.mark.parametrize("told", TOLD, ids=lambda told: told.name)
def test_at_the_edge_of_each_condition_the_chamber_opens_or_stays_shut(told: Told) -> None:
    (given,) = of_stories([told])
    found = clearance(given.run, given.programme, given.setting)
    assert found.may_open is told.opens, (found.reasons, found.voided)
    assert bool(found.reasons) is not told.opens
    assert oracle.may_open(told.story, told.now) is told.opens


def test_no_two_stories_have_one_name_and_both_answers_come_up() -> None:
    names = [told.name for told in TOLD]
    assert len(names) == len(set(names)) > 150
    assert sum(told.opens for told in TOLD) > 50


@pytest.mark.parametrize("told", [one for one in TOLD if one.opens], ids=lambda told: told.name)
def test_what_there_is_to_sign_can_be_written_out_by_hand(told: Told) -> None:
    (given,) = of_stories([told])
    found = clearance(given.run, given.programme, given.setting)
    newest = max(one.had for one in told.story.reads)
    assert found.seen_to == newest
    assert found.readings == oracle.digest_by_hand(told.story, newest)
    standing = oracle.standing(told.story, told.now)
    assert found.signed_by == tuple(sorted({one.name for one in standing}))
    assert len(found.signed) == len(standing)
    assert len(found.voided) == len(given.run.signatures) - len(standing)


def test_nothing_is_shown_for_signing_while_something_measured_is_amiss() -> None:
    story = oracle.measured().then(oracle.Dosed(oracle.at("13:31"), oracle.at("13:31")))
    run, setting = oracle.acted_out(story), oracle.setting(story, oracle.at("13:32"))
    found = clearance(run, oracle.programme(story.rule), setting)
    assert (found.readings, found.seen_to, found.signed) == (None, None, ())


@pytest.mark.parametrize("given", list(beside_stories()), ids=lambda given: given.name)
def test_what_is_on_file_beside_the_run_counts_too(given: Given) -> None:
    assert clearance(given.run, given.programme, given.setting).may_open is given.opens


def test_the_reasons_are_given_word_for_word() -> None:
    for story, now, reasons in in_words():
        run, setting = oracle.acted_out(story), oracle.setting(story, now)
        assert clearance(run, oracle.programme(story.rule), setting).reasons == reasons


def test_each_guard_s_removal_is_noticed() -> None:
    """Every mutant answers at least one question otherwise than is written down.

    People sign what the mutant shows them, or else the digest that is written out by hand.
    """
    asked = [*beside_stories(), *of_stories(TOLD)]
    survivors = []
    count = 0
    for mutant in mutants():
        count += 1
        if not _noticed(mutant.module(), asked):
            survivors.append(mutant.guard)
    assert not survivors, "\n".join(survivors)
    assert count > 100


def _noticed(module: ModuleType, asked: list[Given]) -> bool:
    def wrong(given: Given) -> bool:
        try:
            found = module.clearance(given.run, given.programme, given.setting)
        except Exception:
            return True
        return bool(found.may_open) is not given.opens

    for place, given in enumerate(asked):
        if wrong(given):
            # The neighbours of this guard are likely to be noticed by the same question.
            asked.insert(0, asked.pop(place))
            return True
    try:
        return _says_otherwise(module.clearance) or any(
            map(wrong, of_stories(TOLD, module.clearance))
        )
    except Exception:
        return True


def _says_otherwise(judge: oracle.Judge) -> bool:
    for story, now, reasons in in_words():
        run, setting = oracle.acted_out(story), oracle.setting(story, now)
        if judge(run, oracle.programme(story.rule), setting).reasons != reasons:
            return True
    return False


def test_in_every_state_the_chamber_opens_when_every_condition_holds_and_only_then() -> None:
    found = search()
    assert found.wrong is None
    assert found.opened > 0
    assert found.states > 2500
