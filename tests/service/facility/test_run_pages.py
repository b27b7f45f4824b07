"""The page of a chamber run: where its load is, what it shows, and what its forms refuse."""

import re
from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from service.installation import Installation
from service.pages import moment
from shared import events as ev
from shared.cautions import leak_steps
from shared.vocabulary import Agent, Damage, Material, Phase, Role, StepKind
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    CONSERVATOR,
    FUMIGATOR,
    LEAD,
    PANE,
    VASE,
    ZONES,
    allow,
    bring,
    checked,
    enter,
    finish,
    furnish,
    gas_read,
    open_run,
    say,
    why_refused,
)
from tests.service.facility.test_pages import item, problem_after, run, text_of

PATH = "/facility/runs/run-1"


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, title="Tall jar")
    bring(here, BOWL, title="Bowl")


def load(client: TestClient, *tags: str) -> None:
    for tag in tags:
        answer = client.post(f"{PATH}/load", data={"scanned": tag, "actor": LEAD})
        assert "problem" not in answer.headers["location"], answer.headers["location"]


# --- where the load is --------------------------------------------------------------------------


def test_a_loaded_piece_is_in_the_chamber_and_one_taken_off_is_in_no_place(
    client: TestClient, here: Installation
) -> None:
    open_run(here, VASE, BOWL, programme=AIR)
    load(client, VASE, BOWL)
    assert item(here, VASE).station == "box"
    assert "2 pieces here" in text_of(client, "/facility/places/box")
    assert "Box chamber (loading) run-1" in text_of(client, f"/facility/find?q={VASE}")
    say(here, ev.RunItemRemoved(run="run-1", tag=VASE, reason="wanted elsewhere"))
    assert (item(here, VASE).station, item(here, VASE).run) == (None, None)
    assert "no place on record" in text_of(client, f"/facility/find?q={VASE}")
    assert "no place on record" in text_of(client, f"/facility/items/{VASE}")
    assert item(here, BOWL).station == "box"


def test_taking_a_piece_off_the_sheet_that_never_went_in_leaves_it_where_it_is(
    here: Installation,
) -> None:
    open_run(here, VASE, BOWL, programme=AIR)
    say(here, ev.RunItemRemoved(run="run-1", tag=VASE, reason="not today"))
    assert item(here, VASE).station == "bench"


def test_loading_into_another_chamber_than_the_runs_is_stopped(here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    why = why_refused(here, ev.ItemLoaded(run="run-1", tag=VASE, station="spare"))
    assert why == "STOP: wrong chamber for this run. Keep the piece out and ask the lead."


def cleared(client: TestClient, here: Installation, *tags: str) -> None:
    """A run without gas, brought to the open door."""
    open_run(here, *tags, programme=AIR)
    load(client, *tags)
    enter(here, Phase.SEALED, Phase.HOLDING, Phase.AIRING)
    assert problem_after(client, f"{PATH}/unseal", actor=FUMIGATOR) is None


@pytest.mark.parametrize("counts", ["yes", "no"])
def test_unloading_says_where_the_load_goes_and_whether_it_is_treated(
    client: TestClient, here: Installation, clock: Clock, counts: str
) -> None:
    cleared(client, here, VASE, BOWL)
    why = why_refused(here, ev.PhaseEntered(run="run-1", phase=Phase.UNLOADED, at=here.now()))
    assert why == "phase: 2 pieces still stand in the chamber; say where the load goes"
    clock.forward(minutes=5)
    form = {"station": "airing", "counts": counts, "actor": LEAD}
    assert problem_after(client, f"{PATH}/unload", **form) is None
    assert run(here, "run-1").phase is Phase.UNLOADED
    for tag in (VASE, BOWL):
        piece = item(here, tag)
        assert (piece.station, piece.run, piece.runs) == ("airing", None, ["run-1"])
        assert (StepKind.CHAMBER in piece.steps_done) is (counts == "yes")
    assert "Airing room" in text_of(client, f"/facility/find?q={VASE}")


def test_a_piece_moved_out_one_by_one_is_not_moved_again(
    client: TestClient, here: Installation
) -> None:
    cleared(client, here, VASE, BOWL)
    moved = {"station": "airing", "actor": LEAD}
    assert problem_after(client, f"/facility/items/{VASE}/move", **moved) is None
    assert "Airing room" in text_of(client, f"/facility/find?q={VASE}")
    why = why_refused(here, ev.PhaseEntered(run="run-1", phase=Phase.UNLOADED, at=here.now()))
    assert why == "phase: one piece still stands in the chamber; say where the load goes"
    form = {"station": "bench", "counts": "yes", "actor": LEAD}
    assert problem_after(client, f"{PATH}/unload", **form) is None
    assert (item(here, VASE).station, item(here, BOWL).station) == ("airing", "bench")


@pytest.mark.parametrize(
    ("change", "mend"),
    [
        ({"counts": "perhaps"}, "counts: say whether"),
        ({"station": "nowhere"}, "There is no place nowhere"),
        ({"station": "spare"}, "is a chamber"),
        ({"actor": " "}, "Your name"),
    ],
)
def test_an_unloading_that_does_not_fit_changes_nothing(
    client: TestClient, here: Installation, change: dict[str, str], mend: str
) -> None:
    cleared(client, here, VASE)
    form = {"station": "airing", "counts": "yes", "actor": LEAD} | change
    assert mend in (problem_after(client, f"{PATH}/unload", **form) or "")
    assert run(here, "run-1").phase is Phase.CLEARED
    assert item(here, VASE).station == "box"


def test_a_run_is_not_unloaded_before_it_is_cleared(client: TestClient, here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    load(client, VASE)
    enter(here, Phase.SEALED, Phase.HOLDING)
    form = {"station": "airing", "counts": "yes", "actor": LEAD}
    assert "shut in a chamber" in (problem_after(client, f"{PATH}/unload", **form) or "")
    assert item(here, VASE).station == "box"


def test_a_wet_piece_is_still_stopped_at_the_door(client: TestClient, here: Installation) -> None:
    say(here, ev.DamageNoted(tag=VASE, damage=Damage.SOAKED))
    open_run(here, VASE, programme=AIR)
    answer = client.post(f"{PATH}/load", data={"scanned": VASE, "actor": LEAD})
    assert "dry%20it%20first" in answer.headers["location"]
    assert item(here, VASE).station == "bench"
    finish(here, VASE, StepKind.STABILISE, StepKind.DRY)
    load(client, VASE)
    assert item(here, VASE).station == "box"


# --- before the gas -----------------------------------------------------------------------------


def gas_run(client: TestClient, here: Installation) -> None:
    """A gas run with its one piece inside, sealed."""
    allow(here, VASE)
    open_run(here, VASE)
    load(client, VASE)
    enter(here, Phase.SEALED)


def dosing(client: TestClient) -> str | None:
    return problem_after(client, f"{PATH}/phase", phase="dosing", after="sealed", actor=FUMIGATOR)


def test_nothing_is_dosed_before_every_check_was_done_and_who_did_it_stays_on_record(
    client: TestClient, here: Installation
) -> None:
    gas_run(client, here)
    every = list(here.facts.dosing_checks)
    assert len(every) >= 5
    assert dosing(client) == (
        f"phase: {len(every)} checks before dosing are not done. Nothing goes in; do them first, "
        "on the run's page."
    )
    first = client.post(f"{PATH}/check", data={"checks": every[:-1], "actor": FUMIGATOR})
    assert first.headers["location"] == PATH
    assert (dosing(client) or "").startswith("phase: one check before dosing is not done")
    last = here.facts.dosing_checks[every[-1]]
    assert last.text in text_of(client, PATH)
    assert problem_after(client, f"{PATH}/check", checks=last.id, actor=LEAD) is None
    assert dosing(client) is None
    done = {one.check: one.actor for one in run(here, "run-1").checks}
    assert done == dict.fromkeys(every[:-1], FUMIGATOR) | {last.id: LEAD}
    assert f"{last.text}{LEAD}" in text_of(client, PATH)


@pytest.mark.parametrize("again", [(Phase.LOADING, Phase.SEALED), (Phase.HOLDING, Phase.AIRING)])
def test_checks_are_done_again_after_the_door_or_a_damper_was_touched(
    here: Installation, client: TestClient, again: tuple[Phase, ...]
) -> None:
    gas_run(client, here)
    say(here, checked(here))
    enter(here, *again)
    body = ev.PhaseEntered(run="run-1", phase=Phase.DOSING, at=here.now())
    assert "checks before dosing are not done" in (why_refused(here, body) or "")


def test_a_run_without_a_gas_needs_no_such_checks(client: TestClient, here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    load(client, VASE)
    enter(here, Phase.SEALED)
    body = ev.PhaseEntered(run="run-1", phase=Phase.DOSING, at=here.now())
    assert why_refused(here, body) is None


@pytest.mark.parametrize("ticked", [{}, {"checks": "no such check"}])
def test_checks_that_are_none(
    client: TestClient, here: Installation, ticked: dict[str, str]
) -> None:
    gas_run(client, here)
    why = problem_after(client, f"{PATH}/check", actor=LEAD, **ticked)
    assert (why or "").startswith("checks: tick what you have looked at")
    assert run(here, "run-1").checks == []


# --- phases -------------------------------------------------------------------------------------


def test_two_people_do_not_overwrite_each_others_phase(
    client: TestClient, here: Installation
) -> None:
    open_run(here, VASE, programme=AIR)
    load(client, VASE)
    form = {"phase": "sealed", "after": "loading", "actor": LEAD}
    assert problem_after(client, f"{PATH}/phase", **form) is None
    late = {"after": "loading", "actor": FUMIGATOR, "reason": "no power"}
    assert "has moved on from “Loading” to “Sealed”" in (
        problem_after(client, f"{PATH}/abort", **late) or ""
    )
    assert run(here, "run-1").phase is Phase.SEALED
    assert 'name="after" value="sealed"' in client.get(PATH).text


def test_a_run_is_given_up_with_a_reason_only(client: TestClient, here: Installation) -> None:
    open_run(here, VASE, programme=AIR)
    form = {"after": "loading", "actor": LEAD}
    assert "say why" in (problem_after(client, f"{PATH}/abort", **form, reason=" ") or "")
    assert run(here, "run-1").phase is Phase.LOADING
    assert problem_after(client, f"{PATH}/abort", **form, reason="the fan failed") is None
    page = text_of(client, PATH)
    assert "the fan failed" in page
    assert "Aborted" in page


@pytest.mark.parametrize("field", ["phase", "after"])
def test_a_phase_that_is_none(client: TestClient, here: Installation, field: str) -> None:
    open_run(here, VASE, programme=AIR)
    form = {"phase": "sealed", "after": "loading", "actor": LEAD} | {field: "frying"}
    why = problem_after(client, f"{PATH}/phase", **form)
    assert why == f"{field}: frying is no phase of a run; choose one of the list"


# --- what was measured --------------------------------------------------------------------------


def air(client: TestClient, temperature: str, rh: str, unit: str = "C") -> str | None:
    form = {"zone": "low", "temperature": temperature, "unit": unit, "rh_percent": rh}
    return problem_after(client, f"{PATH}/climate", actor=FUMIGATOR, **form)


def test_the_air_is_logged_by_zone_in_either_unit_and_listed_where_it_left_the_window(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    """Window of the programme: 15 to 25 °C, 30 to 60 % RH. 68 °F is 20 °C, exactly."""
    gas_run(client, here)
    for temperature, rh, unit in (("68", "45", "F"), ("27.5", "45", "C"), ("26", "45", "C")):
        assert air(client, temperature, rh, unit) is None
        clock.forward(minutes=10)
    assert [one.temperature_c for one in run(here, "run-1").climate] == ["20.00", "27.50", "26.00"]
    page = text_of(client, PATH)
    assert re.search(r"Outside the air window ?1 time ?1 still now", page)
    assert "Still outside" in page
    assert "27.5 °C" in page
    assert air(client, "20", "45") is None
    assert "Still outside" not in text_of(client, PATH)
    assert "Temperature, window 15 to 25 °C" in text_of(client, PATH)


@pytest.mark.parametrize(
    ("temperature", "rh", "mend"),
    [
        ("warm", "45", "as a number"),
        ("20", "damp", "as a number"),
        ("-400", "45", "as a number"),
        ("20", "101", "0 to 100"),
        ("20", "-1", "0 to 100"),
    ],
)
def test_air_that_cannot_be_read_is_not_guessed(
    client: TestClient, here: Installation, temperature: str, rh: str, mend: str
) -> None:
    gas_run(client, here)
    assert mend in (air(client, temperature, rh) or "")
    assert run(here, "run-1").climate == []


def test_the_page_says_dose_by_zone_when_it_is_due_and_when_to_check(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    """1.5 ppm held for 0.5 h gives 0.75 ppm·h; the least signed is 1: ten minutes more."""
    gas_run(client, here)
    enter(here, Phase.DOSING)
    for _ in range(2):
        for zone in ZONES:
            say(
                here,
                ev.ClimateRead(
                    run="run-1",
                    zone=zone,
                    temperature_c="20",
                    rh_percent="45",
                    taken_at=here.now(),
                ),
                gas_read(here, zone, "1.5"),
                role=Role.FUMIGATOR,
                actor=FUMIGATOR,
            )
        newest = here.now()
        clock.forward(minutes=30)
    page = text_of(client, PATH)
    for zone in ZONES:
        assert f"Dose so far, {zone} 0.75 ppm·h" in page
    assert moment(newest + timedelta(minutes=10), "Europe/Dublin") in page
    assert "Earliest time to check" not in page
    enter(here, Phase.AIRING)
    clock.forward(minutes=1)
    for zone in ZONES:
        say(here, gas_read(here, zone, "1.5"), role=Role.FUMIGATOR, actor=FUMIGATOR)
    page = text_of(client, PATH)
    assert "Earliest time to check" in page
    assert "Least dose" not in page
    assert "not a clearance" in page


def test_a_gas_run_shows_what_to_do_when_it_leaks(client: TestClient, here: Installation) -> None:
    gas_run(client, here)
    steps = leak_steps(Agent.OZONE, here.facts)
    assert len(steps) >= 3
    page = text_of(client, PATH)
    assert all(one.text in page for one in steps)
    assert leak_steps(Agent.CARBON_AIR, here.facts) == ()


# --- a conservator's signature at the door ------------------------------------------------------


def scan(client: TestClient, tag: str) -> str:
    """What the page says after a scan."""
    answer = client.post(f"{PATH}/load", data={"scanned": tag, "actor": LEAD})
    return text_of(client, answer.headers["location"])


def sign(client: TestClient, tag: str, **change: str) -> str:
    form = {
        "scanned": tag,
        "reason": "looked at it, no gilding",
        "expires": "2031-05-06",
        "actor": CONSERVATOR,
    }
    answer = client.post(f"{PATH}/load/override", data=form | change)
    assert answer.status_code == 303
    return text_of(client, answer.headers["location"])


def test_a_stop_that_a_conservator_may_lift_is_signed_on_the_spot_and_scanned_again(
    client: TestClient, here: Installation
) -> None:
    open_run(here, VASE)
    assert "Sign as conservator" in scan(client, VASE)
    assert "a conservator signed. Scan it again" in sign(client, VASE)
    (signed,) = item(here, VASE).overrides
    assert (signed.agent, signed.role, signed.signed_by) == (
        Agent.OZONE,
        Role.CONSERVATOR,
        CONSERVATOR,
    )
    assert signed.materials == [Material.CERAMIC_HIGH]
    assert "STOPPED" not in scan(client, VASE)
    assert run(here, "run-1").loaded == [VASE]


@pytest.mark.parametrize(
    ("damages", "material"),
    [
        ((Damage.SOAKED, Damage.SMOKE_ODOUR), Material.CERAMIC_HIGH),
        ((Damage.SOOT_DRY, Damage.SMOKE_ODOUR), Material.CERAMIC_HIGH),
        ((Damage.SMOKE_ODOUR,), Material.SILVER),
        ((Damage.SMOKE_ODOUR,), Material.MARBLE_ALABASTER),
        ((Damage.WARPED,), Material.CERAMIC_HIGH),
    ],
    ids=["wet", "soot on", "barred by the tables", "excluded by the signer", "not for it"],
)
def test_what_nobody_may_lift_offers_no_signature_and_takes_none(
    client: TestClient, here: Installation, damages: tuple[Damage, ...], material: Material
) -> None:
    bring(here, PANE, *damages, materials=(material,))
    finish(here, PANE, StepKind.STABILISE)
    open_run(here, PANE)
    page = scan(client, PANE)
    assert "No signature lifts this" in page
    assert "Sign as conservator" not in page
    assert "no signature lifts this" in sign(client, PANE)
    assert item(here, PANE).overrides == []
    assert run(here, "run-1").loaded == []


@pytest.mark.parametrize(
    ("change", "mend"),
    [
        ({"actor": " "}, "Your name"),
        ({"reason": ""}, "reason"),
        ({"expires": "2031-05-05"}, "give today or a later day"),
        ({"expires": "soon"}, "expires"),
        ({"scanned": "xyz"}, "tag"),
    ],
)
def test_a_signature_that_does_not_fit_is_none(
    client: TestClient, here: Installation, change: dict[str, str], mend: str
) -> None:
    open_run(here, VASE)
    page = sign(client, VASE, **change)
    assert item(here, VASE).overrides == []
    assert mend in page, page[:1500]
