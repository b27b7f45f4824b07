"""The plots draw what the models and the readings say, in XML that holds no surprise."""

import re
from datetime import timedelta
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_data.facility import CARBON_AIR, FACILITY, MOULD_GAS, programme
from service.facility.plots import Plot, drying_plot, gas_plot, mould_plot
from service.facility.plots.chart import Chart, Scale, text
from service.facility.plots.gas import NOT_A_CLEARANCE
from shared.clearance import highest_ppm
from shared.drying import judge_dryness
from shared.facts import facts, load_facts
from shared.gas import MIXING_FACTORS, DoseWindow, GasReading, airing_time_h, run_dose
from shared.mould import ClockSpell, MouldClock, MouldSensitivity, vtt_material, weeks_to_index_1
from shared.programmes import Programme
from shared.records import FacilityBook
from shared.triage import DamageSeen, FrozenInterval, TriageInput, assess
from shared.vocabulary import Damage, Material, Phase
from tests.service.facility import plotted
from tests.service.facility.plotted import SEALED, WETTED, aired_for, gas_run, gas_setting

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>alert(1)</script> & \"quoted\" 'room' \x00\x1b"
KNOWN = facts()
BOOK = plotted.book()


def hours(count: float) -> timedelta:
    return timedelta(hours=count)


def tree(plot: Plot | None) -> ElementTree.Element:
    """The picture, parsed; it must be one well-formed image that a page may hold."""
    assert plot is not None
    root = ElementTree.fromstring(plot.picture)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    for element in root.iter():
        assert element.tag.removeprefix(SVG) in {
            *("svg", "text", "line", "rect", "circle", "polyline", "polygon")
        }
        assert not {"style", "class"} & set(element.attrib)
        assert not any(name.startswith("on") for name in element.attrib)
    for row in plot.rows:
        assert len(row) == len(plot.heads)
    return root


def words(root: ElementTree.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def curves(root: ElementTree.Element) -> list[list[tuple[float, float]]]:
    return [
        [
            (float(x), float(y))
            for x, y in (pair.split(",") for pair in (one.get("points") or "").split())
        ]
        for one in root.iter(f"{SVG}polyline")
    ]


def dots(root: ElementTree.Element) -> list[tuple[float, float, str]]:
    return [
        (float(one.get("cx", "")), float(one.get("cy", "")), one.get("fill", ""))
        for one in root.iter(f"{SVG}circle")
    ]


def renamed(label: str) -> FacilityBook:
    """The facility with every station called ``label``."""
    stations = tuple(one.model_copy(update={"label": label}) for one in FACILITY.stations)
    return plotted.book(FACILITY.model_copy(update={"stations": stations}))


# --- the chart itself ---------------------------------------------------------------------------


@given(
    st.floats(-1e4, 1e4),
    st.floats(1e-3, 1e5),
    st.lists(st.floats(-2e5, 2e5), min_size=2, max_size=20),
)
def test_a_linear_scale_keeps_order_and_stays_inside(
    low: float, span: float, values: list[float]
) -> None:
    scale = Scale(low, low + span, 10, 210)
    places = [scale.at(value) for value in sorted(values)]
    assert places == sorted(places)
    assert all(10 <= place <= 210 for place in places)
    ticks = scale.ticks()
    assert 1 <= len(ticks) <= 9
    assert all(low - 1e-6 * span <= tick <= low + span * (1 + 1e-6) for tick in ticks)


@given(st.floats(1e-4, 1e3), st.floats(1, 6))
def test_a_logarithmic_scale_gives_each_decade_the_same_room(low: float, decades: float) -> None:
    scale = Scale(low, low * 10**decades, 0, 300, log=True)
    assert scale.at(low * 10 ** (decades / 2)) == pytest.approx(150, abs=0.1)
    for tick in scale.ticks():
        assert low * 0.999 <= tick <= low * 10**decades * 1.001


@given(st.text(max_size=60))
def test_any_text_gives_well_formed_xml(typed: str) -> None:
    chart = Chart((0, 1), typed)
    panel = chart.panel(typed, 0, 1)
    panel.level(0.5, typed, "#000000")
    panel.shade(0, 1, words=typed)
    panel.moment(0.5, typed)
    chart.explain("line", typed)
    root = ElementTree.fromstring(chart.draw(typed))
    assert root.get("aria-label") is not None


def test_markup_is_shown_as_typed() -> None:
    assert "&lt;script&gt;" in text(0, 0, HOSTILE)
    assert "<script>" not in text(0, 0, HOSTILE)


# --- drying -------------------------------------------------------------------------------------


def test_an_unweighed_piece_shows_its_band_and_says_that_nothing_was_weighed() -> None:
    plot = drying_plot(plotted.wet_piece(), BOOK, WETTED + hours(5), KNOWN)
    root = tree(plot)
    assert plot is not None
    (likely,) = curves(root)
    heights = [y for _, y in likely]
    assert heights == sorted(heights), "mass only falls, and down is a larger y"
    assert [x for x, _ in likely] == sorted(x for x, _ in likely)
    assert "nothing has been weighed yet" in plot.caption
    assert "if it were put in" in plot.caption
    assert not dots(root)
    for row in plot.rows:
        low, high = (float(part) for part in row[2].split(" to "))
        assert low <= float(row[1]) <= high


def test_weighings_are_placed_in_order_and_give_an_interval() -> None:
    weighed = [(0.0, "14.00"), (24.0, "13.80"), (72.0, "13.62"), (120.0, "13.50")]
    piece = plotted.wet_piece(weighed, in_room=True, materials=[Material.PANEL_PAINTING])
    plot = drying_plot(piece, BOOK, WETTED + hours(150), KNOWN)
    root = tree(plot)
    assert plot is not None
    places = dots(root)[:4]
    assert [x for x, _, _ in places] == sorted(x for x, _, _ in places)
    assert [y for _, y, _ in places] == sorted(y for _, y, _ in places)
    assert len(curves(root)) == 2
    assert "By 4 weighings" in plot.caption and "nine in ten between" in plot.caption
    table = {row[0]: row[4] for row in plot.rows if row[4]}
    assert table == {"0.0": "14.000", "24.0": "13.800", "72.0": "13.620", "120.0": "13.500"}


@pytest.mark.parametrize(
    ("weighed", "reason"),
    [
        ([(0.0, "0.30"), (30.0, "0.10")], "weighed lighter than the dry mass"),
        ([(0.0, "0.30"), (3.0, "0.29"), (48.0, "0.28")], "weighings contradict"),
    ],
)
def test_weighings_that_contradict_the_table_give_no_time(
    weighed: list[tuple[float, str]], reason: str
) -> None:
    plot = drying_plot(plotted.wet_piece(weighed, in_room=True), BOOK, WETTED + hours(90), KNOWN)
    root = tree(plot)
    assert plot is not None
    assert reason in plot.caption
    assert "nine in ten" not in plot.caption
    assert len(curves(root)) == 1, "only what the table has is drawn"
    assert all(row[3] == "" for row in plot.rows)


def test_the_level_is_that_of_the_judgement_of_dryness() -> None:
    plot = drying_plot(
        plotted.wet_piece([(0.0, "14.0")], materials=[Material.PANEL_PAINTING]), BOOK, WETTED, KNOWN
    )
    assert plot is not None
    label = next(one for one in words(tree(plot)) if "within 1 %" in one)
    done_kg = float(label.split(" kg")[0])
    dry_kg = 12.0  # 14 kg at 2 kg of water to 12 kg dry, the row "panel" of drying_bodies.csv
    emc = float(plot.rows[-1][2].split(" to ")[0]) / dry_kg - 1
    assert judge_dryness((done_kg - 0.01) / dry_kg - 1, emc, 1, 1, 0.5).near_equilibrium
    assert not judge_dryness((done_kg + 0.01) / dry_kg - 1, emc, 1, 1, 0.5).near_equilibrium


def test_hostile_room_names_are_escaped() -> None:
    plot = drying_plot(plotted.wet_piece(), renamed(HOSTILE), WETTED, KNOWN)
    root = tree(plot)
    assert "<script>alert(1)</script>" in (root.get("aria-label") or "")
    assert plot is not None and "<script>" not in plot.picture


def test_nothing_is_drawn_where_nothing_is_known() -> None:
    assert drying_plot(plotted.wet_piece(), FacilityBook(), WETTED, KNOWN) is None
    assert drying_plot(plotted.wet_piece(materials=[]), BOOK, WETTED, KNOWN) is None


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0.13, 0.4), min_size=1, max_size=5))
def test_any_weighings_can_be_drawn(masses: list[float]) -> None:
    weighed = [(float(6 * number), f"{kg:.4f}") for number, kg in enumerate(masses)]
    plot = drying_plot(plotted.wet_piece(weighed, in_room=True), BOOK, WETTED + hours(60), KNOWN)
    root = tree(plot)
    assert len(dots(root)) == len(weighed) + 1, "one more in the legend"


# --- mould --------------------------------------------------------------------------------------


def used_percent(plot: Plot | None) -> list[int]:
    assert plot is not None
    return [int(row[1]) for row in plot.rows]


@pytest.mark.parametrize("temperature", [None, "4", "18", "26"])
def test_the_clock_is_that_of_the_shared_model(temperature: str | None) -> None:
    frozen = [FrozenInterval(start=WETTED + hours(5), end=WETTED + hours(15))]
    plot = mould_plot(
        plotted.wet_piece(),
        plotted.flood(temperature),
        frozen,
        book=BOOK,
        now=WETTED + hours(20),
        known=KNOWN,
    )
    tree(plot)
    t_c = None if temperature is None else float(temperature)
    clock = MouldClock().after([ClockSpell(5, t_c), ClockSpell(10, -18), ClockSpell(5, t_c)])
    assert used_percent(plot)[-1] == round(clock.used * 100)


def test_the_clock_agrees_with_the_triage_on_the_same_page() -> None:
    now = WETTED + hours(30)
    piece = plotted.wet_piece(materials=[Material.PRINT_PAPER])
    plot = mould_plot(piece, plotted.flood(), [], book=BOOK, now=now, known=KNOWN)
    triage = assess(
        TriageInput(
            now=now,
            materials=(Material.PRINT_PAPER,),
            damages=(DamageSeen(damage=Damage.SOAKED, wet_since=WETTED),),
            mean_temperature_c=18,
        )
    )
    assert plot is not None and triage.window_h == 48
    assert float(plot.rows[-1][2]) == triage.hours_left


def test_a_window_that_the_facility_changed_is_used() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "constants,mould_precaution_h,value,36,R. Vos,humid valley\n"
    )
    plot = mould_plot(
        plotted.wet_piece(), plotted.flood(), [], book=BOOK, now=WETTED + hours(18), known=changed
    )
    assert used_percent(plot)[-1] == 50
    assert plot is not None and "window of 36 h" in plot.caption


def test_freezing_stops_both_and_is_shaded() -> None:
    frozen = [FrozenInterval(start=WETTED + hours(10))]
    plot = mould_plot(
        plotted.wet_piece(),
        plotted.flood(),
        frozen,
        book=BOOK,
        now=WETTED + hours(200),
        known=KNOWN,
    )
    root = tree(plot)
    assert plot is not None
    assert used_percent(plot)[-1] == round(10 / 48 * 100)
    assert words(root).count("frozen") == 2
    assert {row[4] for row in plot.rows if float(row[0]) > 10 and float(row[0]) < 199} == {"frozen"}
    assert "go on where they stand" in plot.caption
    index = [float(row[3]) for row in plot.rows if float(row[0]) >= 10]
    assert index[0] == index[-1] > 0


def test_drying_ends_the_clock_and_the_model() -> None:
    plot = mould_plot(
        plotted.wet_piece(in_room=True),
        plotted.flood(),
        [],
        book=BOOK,
        now=WETTED + hours(60),
        known=KNOWN,
    )
    root = tree(plot)
    assert plot is not None
    assert "drying began" in words(root)
    assert used_percent(plot)[-1] == round(20 / 48 * 100)
    assert "when drying began" in plot.caption
    assert "sees first growth" not in plot.caption


def test_the_forecast_is_the_published_time_to_index_1() -> None:
    """Hukka & Viitanen (1999): weeks to index 1, divided by k1 = 1 of the most sensitive class."""
    plot = mould_plot(
        plotted.wet_piece(), plotted.flood("20"), [], book=BOOK, now=WETTED + hours(24), known=KNOWN
    )
    assert plot is not None
    weeks = weeks_to_index_1(20, 1.0, vtt_material(MouldSensitivity.VERY_SENSITIVE))
    found = re.search(r"first growth in (\d+) days", plot.caption)
    assert found is not None
    assert int(found[1]) == round(weeks * 7 - 1)


@pytest.mark.parametrize("missing", ["damages", "materials"])
def test_no_mould_plot_without_wetting_or_material(missing: str) -> None:
    piece = plotted.wet_piece().model_copy(update={missing: []})
    found = mould_plot(piece, plotted.flood(), [], book=BOOK, now=WETTED + hours(9), known=KNOWN)
    assert found is None


def test_no_mould_plot_where_triage_runs_no_mould_clock() -> None:
    now = WETTED + hours(9)
    glass = plotted.wet_piece(materials=[Material.GLASS])
    assert mould_plot(glass, plotted.flood(), [], book=BOOK, now=now, known=KNOWN) is None
    mixed = plotted.wet_piece(materials=[Material.GLASS, Material.PRINT_PAPER])
    assert mould_plot(mixed, plotted.flood(), [], book=BOOK, now=now, known=KNOWN) is not None


def test_no_mould_plot_before_the_wetting() -> None:
    found = mould_plot(plotted.wet_piece(), None, [], book=BOOK, now=WETTED, known=KNOWN)
    assert found is None


# --- gas ----------------------------------------------------------------------------------------


def test_the_dose_is_that_of_the_shared_model() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(6))
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(6), known=KNOWN)
    tree(plot)
    assert plot is not None and plot.dose is not None
    assert signed.concentration_ppm is not None
    by_zone: dict[str, list[GasReading]] = {}
    for one in run.gas:
        air = next(a for a in run.climate if a.zone == one.zone and a.taken_at == one.taken_at)
        by_zone.setdefault(one.zone, []).append(
            GasReading(
                (one.taken_at - SEALED) / hours(1),
                0.0 if one.value == "<LOD" else float(one.value),
                float(air.temperature_c or "nan"),
                float(air.rh_percent or "nan") / 100,
            )
        )
    window = DoseWindow(
        longest_gap_h=1.0,
        ppm_min=float(signed.concentration_ppm[0]),
        t_min_c=signed.temperature_c[0],
        t_max_c=signed.temperature_c[1],
        rh_min=signed.rh[0],
        rh_max=signed.rh[1],
    )
    expected = run_dose(by_zone, window)
    assert plot.dose.lowest.dose_ppm_h == pytest.approx(expected.lowest.dose_ppm_h, rel=1e-12)
    assert plot.dose.lowest_sensor == expected.lowest_sensor
    assert {row[0]: row[4] for row in plot.rows} == {
        zone: f"{dose.dose_ppm_h:.3g}" for zone, dose in expected.by_sensor.items()
    }


def test_readings_stand_where_their_value_is() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(5.5))
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(5.5), known=KNOWN)
    root = tree(plot)
    assert len(curves(root)) == len(chamber.zones)
    by_zone = {zone: [one for one in run.gas if one.zone == zone] for zone in chamber.zones}
    for points, zone in zip(curves(root), sorted(chamber.zones), strict=True):
        assert [x for x, _ in points] == sorted(x for x, _ in points)
        values = []
        for one in by_zone[zone]:
            instrument = BOOK.instrument(one.instrument)
            assert instrument is not None
            most = highest_ppm(one, instrument, None)
            assert most.is_finite()
            values.append(float(most))
        for (_, y), value in zip(points, values, strict=True):
            for (_, other_y), other in zip(points, values, strict=True):
                if value > other * 1.01:
                    assert y < other_y, "more gas stands higher"


def test_the_earliest_check_is_marked_as_no_clearance() -> None:
    signed, chamber = gas_setting()
    began = aired_for(gas_run(hours(30)))
    run = gas_run(began + timedelta(minutes=12))
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + began + hours(0.3), known=KNOWN)
    root = tree(plot)
    assert plot is not None and plot.earliest_check is not None
    assert NOT_A_CLEARANCE in words(root)
    assert NOT_A_CLEARANCE in plot.caption
    newest = max((one for one in run.gas), key=lambda one: (one.taken_at, float(one.value)))
    airing = airing_time_h(
        float(newest.value),
        float(plotted.limit_of(signed)),
        air_changes_per_h=chamber.air_changes_per_h,
        mixing_factor=MIXING_FACTORS[1],
    )
    expected = newest.taken_at + hours(airing)
    assert abs(plot.earliest_check - expected) < timedelta(seconds=1)


def test_nothing_is_projected_before_airing_or_within_the_limit() -> None:
    signed, chamber = gas_setting()
    for until in (hours(2), hours(60)):
        run = gas_run(until)
        plot = gas_plot(run, signed, chamber, BOOK, SEALED + until, known=KNOWN)
        assert plot is not None and plot.earliest_check is None
        assert NOT_A_CLEARANCE not in words(tree(plot))
        assert "Only the full check of every zone clears a chamber." in plot.caption


def test_what_is_below_detection_is_hollow_and_counts_as_nothing() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(60))
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(60), known=KNOWN)
    below = [one for one in run.gas if one.value == "<LOD"]
    hollow = [one for one in dots(tree(plot)) if one[2] == "#ffffff"]
    assert len(hollow) == len(below) + 1, "one more in the legend"


def test_a_silent_zone_claims_no_dose() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(3))
    silent = chamber.zones[0]
    run.gas = [one for one in run.gas if one.zone != silent]
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(3), known=KNOWN)
    tree(plot)
    assert plot is not None
    assert f"no dose can be claimed there: {silent}" in plot.caption
    assert (silent, "0", "not measured", "not measured", "0", "0", "not measured") in plot.rows


def test_readings_that_mean_nothing_are_left_out_and_counted() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(3))
    run.gas[3] = run.gas[3].model_copy(update={"instrument": "unheard of"})
    run.gas[4] = run.gas[4].model_copy(update={"unit": "mg/m3", "temperature_c": "?"})
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(3), known=KNOWN)
    tree(plot)
    assert plot is not None and "2 readings are not drawn" in plot.caption


def test_two_instruments_at_one_moment_count_the_lower_and_show_the_higher() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(3))
    doubled = run.gas[-1].model_copy(update={"reading": "again", "value": "9"})
    run.gas.append(doubled)
    plot = gas_plot(run, signed, chamber, BOOK, SEALED + hours(3), known=KNOWN)
    plain = gas_plot(gas_run(hours(3)), signed, chamber, BOOK, SEALED + hours(3), known=KNOWN)
    assert plot is not None and plain is not None
    assert plot.dose is not None and plain.dose is not None
    assert plot.dose.by_sensor == plain.dose.by_sensor
    row = next(row for row in plot.rows if row[0] == doubled.zone)
    assert row[3] == "9"


def test_phases_and_hostile_zone_names() -> None:
    signed, chamber = gas_setting()
    run = gas_run(hours(6))
    named = chamber.model_copy(update={"zones": (HOSTILE,)})
    run.gas = [one.model_copy(update={"zone": HOSTILE}) for one in run.gas]
    plot = gas_plot(run, signed, named, BOOK, SEALED + hours(6), known=KNOWN)
    root = tree(plot)
    assert plot is not None and "<script>" not in plot.picture
    assert Phase.HOLDING.label in words(root)


def test_no_gas_no_plot() -> None:
    signed, chamber = gas_setting()
    without: Programme = programme(CARBON_AIR)
    empty = gas_run(timedelta(0))
    empty.gas = []
    assert gas_plot(empty, signed, chamber, BOOK, SEALED, known=KNOWN) is None
    run = gas_run(hours(2))
    assert gas_plot(run, without, chamber, BOOK, SEALED, known=KNOWN) is None
    assert gas_plot(run, signed, chamber, FacilityBook(), SEALED, known=KNOWN) is None
    other = programme(MOULD_GAS)
    assert gas_plot(run, other, chamber, BOOK, SEALED, known=KNOWN) is None
