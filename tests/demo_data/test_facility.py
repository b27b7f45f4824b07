"""The invented facility and programmes: nothing dangling, nothing risky, nothing passed off."""

from decimal import Decimal

import pytest

from demo_data.facility import (
    BROKEN_CHAMBER,
    COLD_STORE,
    FACILITY,
    HARD_GOODS,
    METERS,
    NOT_A_DOSE,
    OUT_OF_CALIBRATION,
    PROGRAMMES,
    RECEIVING,
    programme,
)
from demo_data.scenario import NOW
from shared.facility import Bench, Chamber, ColdStore, Room
from shared.facts import facts
from shared.programmes import Programme
from shared.treatments import agents_for, permission
from shared.vocabulary import Material, Permission, StepKind

GAS = [candidate for candidate in PROGRAMMES if candidate.needs_licence]


def test_stations_cover_every_step_that_takes_place_in_the_facility() -> None:
    served = {
        step for each in FACILITY.stations if isinstance(each, Room | Bench) for step in each.serves
    }
    assert served == set(StepKind) - {StepKind.FREEZE, StepKind.CHAMBER, StepKind.RETURN}
    assert len({chamber.volume_l for chamber in FACILITY.chambers}) == len(FACILITY.chambers) == 3
    assert isinstance(FACILITY.station(COLD_STORE), ColdStore)
    assert isinstance(FACILITY.station(RECEIVING), Bench)
    assert isinstance(FACILITY.station(BROKEN_CHAMBER), Chamber)
    drying = [
        each for each in FACILITY.stations if isinstance(each, Room) and StepKind.DRY in each.serves
    ]
    assert len(drying) == 3


def test_chambers_and_clean_downs_name_known_programmes() -> None:
    known = {candidate.id for candidate in PROGRAMMES}
    assert {name for chamber in FACILITY.chambers for name in chamber.programmes} == known
    pairs = {(clean.before, clean.after) for clean in FACILITY.clean_downs}
    assert pairs == {(a, b) for a in known for b in known if a != b}


@pytest.mark.parametrize("each", PROGRAMMES, ids=lambda each: each.id)
def test_agents_act_on_their_targets_and_bar_what_the_tables_bar(each: Programme) -> None:
    assert all(each.agent in agents_for(target) for target in each.targets)
    allowed = set(Material) - set(each.exclusions)
    barred = {m for m in Material if permission(each.agent, m).permission is Permission.NO}
    assert not allowed & barred
    assert each.expires > NOW.date()


@pytest.mark.parametrize("each", GAS, ids=lambda each: each.id)
def test_gas_is_for_hard_goods_only_and_says_that_its_numbers_are_no_dose(each: Programme) -> None:
    assert set(Material) - set(each.exclusions) == HARD_GOODS
    assert each.note.startswith(NOT_A_DOSE)
    assert each.licence_no in {person.licence_no for person in FACILITY.licensed}


@pytest.mark.parametrize("each", GAS, ids=lambda each: each.id)
def test_the_clearance_limit_is_the_published_one(each: Programme) -> None:
    """29 CFR 1910.1000 Table Z-1: ozone and chlorine dioxide, 0.1 ppm each."""
    rule = each.clearance
    assert rule is not None
    assert rule.limit_ppm == Decimal("0.1")
    assert "29 CFR 1910.1000 Table Z-1" in rule.cited_from
    assert rule.gas in facts().gases


@pytest.mark.parametrize("each", GAS, ids=lambda each: each.id)
def test_the_clearance_meter_can_see_the_limit_and_is_in_calibration(each: Programme) -> None:
    rule = each.clearance
    assert rule is not None
    meter = METERS[each.id].clearance
    assert Decimal(meter.detection_limit_ppm) < rule.limit_ppm
    assert meter.calibrated_until > NOW
    assert OUT_OF_CALIBRATION.calibrated_until < NOW


def test_an_unknown_programme_is_an_error() -> None:
    with pytest.raises(KeyError):
        programme("steam")
