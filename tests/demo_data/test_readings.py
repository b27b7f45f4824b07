"""Simulated runs reach the signed dose, fail the first closed hold and pass the second."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from demo_data.facility import (
    CARBON_AIR,
    FACILITY,
    FUMIGATOR,
    INSTRUMENTS,
    METERS,
    MOULD_GAS,
    ODOUR_GAS,
    ZONE,
    programme,
)
from demo_data.readings import RunReadings, simulate_run
from shared import events as ev
from shared.clearance import Setting, State, clearance
from shared.facility import Chamber
from shared.facts import facts
from shared.gas import DoseWindow, GasReading, run_dose
from shared.records import Entry, Instrument, Run, Signature, fold_run
from shared.vocabulary import Phase, Role

START = datetime(2031, 5, 7, 14, tzinfo=UTC)
PAIRS = [
    (name, chamber)
    for chamber in FACILITY.chambers
    for name in (ODOUR_GAS, MOULD_GAS)
    if name in chamber.programmes
]


def simulated(name: str, chamber: Chamber, seed: int = 1) -> RunReadings:
    return simulate_run("RUN-1", programme(name), chamber, START, seed=seed)


def gas_reads(readings: RunReadings) -> list[ev.GasRead]:
    return [entry.body for entry in readings.timeline if isinstance(entry.body, ev.GasRead)]


def test_the_same_seed_gives_the_same_readings() -> None:
    chamber = FACILITY.chambers[0]
    assert simulated(ODOUR_GAS, chamber) == simulated(ODOUR_GAS, chamber)
    assert simulated(ODOUR_GAS, chamber) != simulated(ODOUR_GAS, chamber, seed=2)


@pytest.mark.parametrize(("name", "chamber"), PAIRS, ids=lambda v: getattr(v, "id", v))
def test_the_dose_lies_in_the_signed_window_in_every_zone(name: str, chamber: Chamber) -> None:
    signed = programme(name)
    assert signed.concentration_ppm
    assert signed.dose_ppm_h
    series: dict[str, list[GasReading]] = {zone: [] for zone in chamber.zones}
    for read in gas_reads(simulated(name, chamber)):
        hour = (read.taken_at - START) / timedelta(hours=1)
        ppm = 0.0 if read.value == "<LOD" else float(read.value)
        series[read.zone].append(GasReading(hour, ppm, float(read.temperature_c or "nan"), None))
    window = DoseWindow(longest_gap_h=0.5, ppm_min=float(signed.concentration_ppm[0]))
    dose = run_dose(series, window)
    least, most = (float(end) for end in signed.dose_ppm_h)
    for zone, sensor in dose.by_sensor.items():
        assert least <= sensor.dose_ppm_h <= most, zone
    assert max(r.ppm for s in series.values() for r in s) <= float(signed.concentration_ppm[1])


@pytest.mark.parametrize(("name", "chamber"), PAIRS, ids=lambda v: getattr(v, "id", v))
def test_the_run_keeps_within_its_signed_length_and_climate(name: str, chamber: Chamber) -> None:
    signed = programme(name)
    readings = simulated(name, chamber)
    minutes = (readings.checks[-1] - START) / timedelta(minutes=1)
    assert signed.run_min[0] <= minutes <= signed.run_min[1]
    climate = [e.body for e in readings.timeline if isinstance(e.body, ev.ClimateRead)]
    assert {read.zone for read in climate} == set(chamber.zones)
    for read in climate:
        assert (
            signed.temperature_c[0] <= float(read.temperature_c or "nan") <= signed.temperature_c[1]
        )
        assert signed.rh[0] <= float(read.rh_percent or "nan") / 100 <= signed.rh[1]
    times = [entry.at for entry in readings.timeline]
    assert times == sorted(times)


@pytest.mark.parametrize(("name", "chamber"), PAIRS, ids=lambda v: getattr(v, "id", v))
def test_the_load_gives_gas_back_in_the_first_hold_only(name: str, chamber: Chamber) -> None:
    rule = programme(name).clearance
    assert rule is not None
    readings = simulated(name, chamber)
    holds = [e.body for e in readings.timeline if isinstance(e.body, ev.HoldClosed)]
    highest = []
    for hold in holds:
        inside = [r for r in gas_reads(readings) if hold.starts_at < r.taken_at <= hold.ends_at]
        assert {r.instrument for r in inside} == {METERS[name].clearance.instrument}
        numbers = [Decimal(r.value) for r in inside if r.value != "<LOD"]
        assert numbers[0] < numbers[-1]
        highest.append(max(numbers))
    assert highest[0] > rule.limit_ppm > highest[1]
    before = [r for r in gas_reads(readings) if r.taken_at == holds[0].starts_at]
    assert all(r.value == "<LOD" or Decimal(r.value) < rule.limit_ppm for r in before)


def folded(readings: RunReadings, chamber: Chamber, name: str, until: datetime) -> Run:
    journal = ev.Journal("facility-desk", ZONE)
    opened = ev.RunOpened(
        run="RUN-1", station=chamber.id, programme=name, version=1, tags=("7ZZZZZZZZZZZ0",)
    )
    said = [(START, opened), *((entry.at, entry.body) for entry in readings.until(until))]
    entries = []
    for position, (at, body) in enumerate(said, start=1):
        event = journal.write(body, actor="a", role=Role.LEAD, at=at)
        entries.append(Entry(position, at, ev.event_digest(event), event, ev.decode(event)))
    run = fold_run("RUN-1", entries)
    assert run is not None
    return run


def signed_by_two(run: Run, readings: str) -> Run:
    signatures = [
        Signature(signer=name, actor=name, role=role, licence_no=licence, readings=readings, at="")
        for name, role, licence in (
            ("the lead", Role.LEAD, ""),
            (FUMIGATOR.name, Role.FUMIGATOR, FUMIGATOR.licence_no),
        )
    ]
    return run.model_copy(update={"signatures": signatures})


def test_the_interlock_stays_shut_after_the_first_hold_and_opens_after_the_second() -> None:
    chamber = FACILITY.chambers[0]
    readings = simulated(ODOUR_GAS, chamber)
    instruments = {
        each.instrument: Instrument.model_validate(each.model_dump(exclude={"type"}))
        for each in INSTRUMENTS
    }
    answers = []
    for check in readings.checks:
        setting = Setting(
            zones=chamber.zones,
            gas="ozone",
            molar_mass_g_mol=facts().gases["ozone"].molar_mass_g_mol,
            instruments=instruments,
            licences={FUMIGATOR.licence_no: FUMIGATOR.expires},
            now=check,
        )
        run = folded(readings, chamber, ODOUR_GAS, check)
        unsigned = clearance(run, programme(ODOUR_GAS), setting)
        assert unsigned.state is State.NOT_CLEARED
        signed = signed_by_two(run, unsigned.readings or "0" * 64)
        answers.append(clearance(signed, programme(ODOUR_GAS), setting))
    first, second = answers
    assert first.state is State.NOT_CLEARED
    assert all("the limit is at most 0.1 ppm" in reason for reason in first.reasons)
    assert second.state is State.CLEARED


def test_a_run_without_gas_has_climate_and_oxygen_only() -> None:
    readings = simulated(CARBON_AIR, FACILITY.chambers[2])
    kinds = {type(entry.body) for entry in readings.timeline}
    assert kinds == {ev.PhaseEntered, ev.ClimateRead, ev.OxygenRead}
    assert readings.checks == (readings.timeline[-1].at,)
    run = folded(readings, FACILITY.chambers[2], CARBON_AIR, readings.checks[-1])
    assert run.phase is Phase.AIRING
