"""Times outside the signed window are found as the readings tell them, and drawn to scale."""

from datetime import datetime, timedelta
from itertools import groupby

from hypothesis import given
from hypothesis import strategies as st

from service.facility.plots import climate_plot, excursions
from shared.records import ClimateReading, FacilityBook, Run
from tests.service.facility.house import AIR
from tests.service.facility.test_plots import curves, tree, words
from tests.writers import START

LOW, HIGH = AIR.temperature_c
BOOK = FacilityBook()


def run_of(*values: tuple[str, float, float, float]) -> Run:
    """A run with climate readings as (zone, minutes, °C, % RH)."""
    climate = [
        ClimateReading(
            zone=zone,
            temperature_c=f"{t_c:.3f}",
            rh_percent=f"{rh:.3f}",
            taken_at=START + timedelta(minutes=minutes),
        )
        for zone, minutes, t_c, rh in values
    ]
    return Run(run="run-1", climate=climate)


def at(minutes: float) -> datetime:
    return START + timedelta(minutes=minutes)


def test_the_ends_of_the_window_are_inside() -> None:
    assert excursions(run_of(("low", 0, LOW, 30), ("low", 5, HIGH, 60)), AIR) == []


def test_each_zone_and_quantity_is_judged_alone_and_its_worst_is_kept() -> None:
    found = excursions(
        run_of(
            *(("low", 0, 20, 45), ("low", 10, 26, 45), ("low", 20, 29, 70), ("low", 30, 20, 45)),
            *(("high", 0, 14, 45), ("high", 10, 12, 45)),
        ),
        AIR,
    )
    assert [(one.zone, one.quantity.name, one.since, one.until, one.worst) for one in found] == [
        ("high", "Temperature", at(0), None, 12.0),
        ("low", "Temperature", at(10), at(30), 29.0),
        ("low", "Relative humidity", at(20), at(30), 70.0),
    ]


@given(st.lists(st.floats(5, 35), min_size=1, max_size=30))
def test_every_reading_outside_is_in_one_time_and_every_reading_inside_in_none(
    temperatures: list[float],
) -> None:
    shown = [round(value, 3) for value in temperatures]
    run = run_of(*(("low", minute, value, 45) for minute, value in enumerate(shown)))
    found = excursions(run, AIR)
    for minute, value in enumerate(shown):
        covering = [
            one
            for one in found
            if one.since <= at(minute) and (one.until is None or at(minute) < one.until)
        ]
        assert len(covering) == (not LOW <= value <= HIGH)
    spells = [out for out, _ in groupby(shown, key=lambda value: not LOW <= value <= HIGH) if out]
    assert len(found) == len(spells)


def test_the_picture_has_a_curve_for_each_zone_and_quantity_and_says_the_window() -> None:
    run = run_of(("low", 0, 20, 45), ("low", 60, 26, 45), ("high", 0, 18, 50), ("high", 60, 18, 50))
    plot = climate_plot(run, AIR, BOOK, excursions(run, AIR))
    assert plot is not None
    root = tree(plot)
    assert len(curves(root)) == 4
    said = words(root)
    assert {"at most 25 °C", "at least 15 °C", "at most 60 %", "at least 30 %"} <= set(said)
    assert plot.caption.startswith("Once outside the signed window")
    (_, even_start), (_, even_end) = curves(root)[0]
    (_, start), (_, warmer) = curves(root)[1]
    assert even_start == even_end
    assert warmer < start, "warmer is drawn higher"
    assert len(plot.rows) == 4


def test_without_a_reading_there_is_nothing_to_draw() -> None:
    assert climate_plot(Run(run="run-1"), AIR, BOOK, []) is None


def test_a_sensor_that_says_only_one_quantity_is_judged_by_that() -> None:
    run = run_of(("low", 0, 26, 45))
    run.climate[0] = run.climate[0].model_copy(update={"rh_percent": None})
    assert [one.quantity.name for one in excursions(run, AIR)] == ["Temperature"]
    plot = climate_plot(run, AIR, BOOK, excursions(run, AIR))
    assert plot is not None
    assert len(curves(tree(plot))) == 1
    assert plot.rows[1][2:4] == ("0", "not measured")
