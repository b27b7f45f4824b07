"""The lead's and the fumigator's pages: there with and without data, escaped, and readable when
something typed does not fit."""

import io
import time
from html.parser import HTMLParser
from typing import Any
from urllib.parse import unquote

import pytest
from pypdf import PdfReader
from starlette.testclient import TestClient

from service.facility import desk as desks
from service.facility.desk import Desk, PlanDesk
from service.facility.plans import Draft, adopt
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.records import Item, Run
from shared.vocabulary import Damage, Material, PartRole, Phase, StepKind
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    FACILITY,
    FUMIGATOR,
    GAS,
    LEAD,
    LICENCE,
    PANE,
    PLATE,
    VASE,
    ZONES,
    allow,
    bring,
    finish,
    furnish,
    hand_of,
    open_run,
    quick_draft,
    say,
)

HOSTILE = "<script>alert('x')</script>\"><img src=x onerror=alert(1)>"
SEEN_TO = "2031-05-06T18:00:00Z"
LISTS = [
    "/facility/",
    "/facility/items",
    "/facility/receive",
    "/facility/plan",
    "/facility/runs",
    "/facility/programmes",
]


class Markup(HTMLParser):
    """Reads a page: its text, the scripts it runs in place and the handlers in its tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.inline: list[str] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        names = {name for name, _ in attrs}
        if (tag == "script" and "src" not in names) or any(name[:2] == "on" for name in names):
            self.inline.append(tag)

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def seen(client: TestClient, path: str) -> Markup:
    answer = client.get(path)
    assert answer.status_code == 200, (path, answer.text[:400])
    assert answer.headers["content-type"].startswith("text/html")
    page = Markup(answer.text)
    assert page.inline == [], path
    return page


def text_of(client: TestClient, path: str) -> str:
    return " ".join("".join(seen(client, path).words).split())


def problem_after(client: TestClient, path: str, **form: object) -> str | None:
    """What a form's answer says went wrong; ``None`` when it was taken."""
    data = {n: value if isinstance(value, list) else str(value) for n, value in form.items()}
    answer = client.post(path, data=data)
    assert answer.status_code == 303, (path, answer.status_code, answer.text[:300])
    location = answer.headers["location"]
    assert client.get(location).status_code == 200
    return unquote(location.partition("?problem=")[2]) or None


def desk_of(client: TestClient) -> PlanDesk:
    desk: PlanDesk = client.app.state.plan_desk  # type: ignore[attr-defined]
    return desk


def item(here: Installation, tag: str) -> Item:
    with here.database.read() as session:
        found = reading.item(session, reading.EVERYTHING, tag)
    assert found is not None
    return found


def run(here: Installation, name: str) -> Run:
    with here.database.read() as session:
        found = reading.run(session, name)
    assert found is not None
    return found


@pytest.fixture
def house(here: Installation, clock: Clock) -> Draft:
    """Pieces of every kind, hostile in every text a person may type, and an adopted plan."""
    hostile = FACILITY.model_copy(
        update={
            "label": HOSTILE,
            "stations": tuple(
                one.model_copy(update={"label": f"{one.label} {HOSTILE}"})
                for one in FACILITY.stations
            ),
        }
    )
    gas, air = (
        one.model_copy(update={"label": f"{one.label} {HOSTILE}", "note": HOSTILE})
        for one in (GAS, AIR)
    )
    furnish(here, hostile, gas, air)
    bring(here, VASE, title=HOSTILE, maker=HOSTILE)
    bring(here, BOWL, Damage.SOAKED, Damage.MOULD_VISIBLE, materials=(Material.OIL_CANVAS,))
    bring(here, PANE, parent=BOWL, role=PartRole.FRAME, title=HOSTILE)
    say(
        here,
        ev.ManifestClosed(
            manifest="M-1",
            vehicle=HOSTILE,
            tags=(VASE, PLATE),
            leaves_at=clock.at,
            expected_at=clock.at,
        ),
        ev.ManifestDelayed(manifest="M-1", expected_at=clock.at, reason=HOSTILE),
        ev.StationClosed(
            station="spare", starts_at=clock.at, ends_at=clock.forward(hours=5), reason=HOSTILE
        ),
    )
    made = quick_draft(here)
    adopt(here, made, LEAD)
    return made


def planned_for(made: Draft, tag: str) -> str:
    """The run that a piece is planned for."""
    (name,) = [one.id for one in made.plan.runs if tag in one.items]
    return name


# --- every page ---------------------------------------------------------------------------------


@pytest.mark.parametrize("path", LISTS)
def test_pages_of_an_empty_installation(client: TestClient, path: str) -> None:
    seen(client, path)


@pytest.mark.parametrize(
    "path", ["/facility/items/0000000000001", "/facility/runs/none", "/facility/receive/none"]
)
def test_what_is_not_there_is_said_to_be_missing(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_every_page_with_data_escapes_what_was_typed(
    client: TestClient, here: Installation, house: Draft
) -> None:
    pieces = [f"/facility/items/{tag}" for tag in (VASE, BOWL, PANE)]
    pieces += [f"/facility/plan/pieces/{VASE}", f"/facility/plan/runs/{planned_for(house, VASE)}"]
    others = ["/facility/receive/M-1", f"/facility/runs/{planned_for(house, VASE)}"]
    others += ["/facility/items?q=%3Cscript%3E&station=box", f"/facility/receive/M-1?done={VASE}"]
    for path in [*LISTS, *pieces, *others]:
        seen(client, path)
    for path in (f"/facility/items/{VASE}", "/facility/items", "/facility/programmes"):
        assert HOSTILE in "".join(seen(client, path).words), path
    open_run(here, VASE, run="other", programme=AIR)
    for path in ("/facility/runs", "/facility/runs/other", "/facility/"):
        seen(client, path)


@pytest.mark.parametrize("path", ["/facility/plan", "/facility/items/0000000000001"])
def test_a_problem_in_the_address_is_shown_as_text(
    client: TestClient, house: Draft, path: str
) -> None:
    page = Markup(client.get(path, params={"problem": HOSTILE}).text)
    assert page.inline == []
    assert HOSTILE in "".join(page.words)


def test_any_day_of_the_plan_can_be_asked_for(client: TestClient, house: Draft) -> None:
    for day in (-5, 0, 14, 149, 10**6, 10**18):
        seen(client, f"/facility/plan?day={day}")


def test_a_plan_whose_documents_are_gone_does_not_take_the_pages_with_it(
    client: TestClient, here: Installation, house: Draft
) -> None:
    say(here, ev.PlanAdopted(plan="a" * 64, problem="b" * 64))
    for path in [*LISTS, f"/facility/items/{VASE}"]:
        seen(client, path)
    assert "is not here any more; make a new one" in text_of(client, "/facility/plan")


# --- pieces -------------------------------------------------------------------------------------


def test_a_piece_is_found_by_tag_title_and_place(client: TestClient, house: Draft) -> None:
    answer = client.get("/facility/items", params={"q": VASE.lower()})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/facility/items/{VASE}")
    assert "1 found" in text_of(client, f"/facility/items?q=Piece {BOWL[-3:]}")
    assert "3 found" in text_of(client, "/facility/items?station=bench")
    assert "0 found" in text_of(client, "/facility/items?q=nothing like it")
    for number in (-1, 0, 9_999):
        seen(client, f"/facility/items?page_no={number}")


def test_a_page_of_a_piece_says_what_never_and_what_next(client: TestClient, house: Draft) -> None:
    text = text_of(client, f"/facility/items/{BOWL}")
    for words in ("How soon, and why", "Never", "Stabilise", "May be next", "Waits"):
        assert words in text


def test_steps_and_moves_are_recorded(client: TestClient, here: Installation, house: Draft) -> None:
    path = f"/facility/items/{VASE}"
    assert problem_after(client, f"{path}/step", step="stabilise", actor="Ada", hours="1.5") is None
    (done,) = item(here, VASE).steps
    assert (done.step, done.hours, done.actor) == (StepKind.STABILISE, "1.5", "Ada")
    assert (done.ended_at - done.started_at).total_seconds() == 5_400
    assert problem_after(client, f"{path}/move", station="cold", actor="Ada") is None
    assert item(here, VASE).station == "cold"


@pytest.mark.parametrize(
    ("action", "form", "mend"),
    [
        ("step", {"step": "stabilise", "actor": ""}, "Your name"),
        ("step", {"step": "stabilise", "actor": "   "}, "Your name"),
        ("step", {"step": "stabilise", "actor": "x" * 301}, "actor: "),
        ("step", {"step": "polish", "actor": "Ada"}, "step: choose"),
        ("step", {"actor": "Ada"}, "step: fill this in"),
        ("step", {"step": "dry", "actor": "Ada", "hours": "two"}, "hours: write a number"),
        ("step", {"step": "dry", "actor": "Ada", "hours": "-1"}, "hours: write a number"),
        ("step", {"step": "dry", "actor": "Ada", "hours": "NaN"}, "hours: write a number"),
        ("step", {"step": "dry", "actor": "Ada", "hours": "1e400"}, "hours: write a number"),
        ("move", {"station": "No Such Place", "actor": "Ada"}, "station: "),
        ("move", {"station": "cold"}, "Your name"),
    ],
)
def test_a_form_of_a_piece_that_does_not_fit(
    client: TestClient, here: Installation, house: Draft, action: str, form: Any, mend: str
) -> None:
    problem = problem_after(client, f"/facility/items/{VASE}/{action}", **form)
    assert (problem or "").startswith(mend)
    assert item(here, VASE).steps == []


# --- receiving ----------------------------------------------------------------------------------


def test_pieces_are_received_against_the_list(client: TestClient, house: Draft) -> None:
    path = "/facility/receive/M-1"
    assert "Missing (2)" in text_of(client, path)
    for tag in (VASE, BOWL):
        answer = client.post(
            path, data={"scanned": tag, "station": "bench", "actor": "Ada", "reason": "Con"}
        )
        assert answer.headers["location"] == f"{path}?done={tag}&who=Ada"
    text = text_of(client, path)
    for words in ("Missing (1)", "Surplus: not on the list (1)", "Received (2)"):
        assert words in text


@pytest.mark.parametrize(
    ("form", "mend"),
    [
        ({"scanned": "0000000000002", "station": "bench", "actor": "Ada"}, ""),
        ({"scanned": "", "station": "bench", "actor": "Ada"}, "scanned: fill this in"),
        ({"scanned": VASE, "station": "Not A Place", "actor": "Ada"}, "station: "),
        ({"scanned": VASE, "station": "bench", "actor": ""}, "Your name"),
    ],
)
def test_a_scan_that_does_not_fit(client: TestClient, house: Draft, form: Any, mend: str) -> None:
    problem = problem_after(client, "/facility/receive/M-1", **form)
    assert problem is not None
    assert problem.startswith(mend)


# --- the plan -----------------------------------------------------------------------------------


def wait_for(desk: Desk[Any]) -> None:
    for _ in range(1_200):
        if desk.state().working_since is None:
            return
        time.sleep(0.05)
    pytest.fail("the desk is still planning after a minute")


def test_a_plan_is_made_looked_at_and_adopted(client: TestClient, here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    desk = desk_of(client)
    assert problem_after(client, "/facility/plan/solve", seconds=5) is None
    assert problem_after(client, "/facility/plan/solve", seconds=5) == (
        "A plan is being made already; wait for it."
    )
    assert "A plan is being made" in text_of(client, "/facility/plan")
    wait_for(desk)
    ready = desk.state().ready
    assert ready is not None
    digest = ready.plan.sha256()
    assert "A new plan is ready" in text_of(client, "/facility/plan")
    wrong = problem_after(client, "/facility/plan/adopt", plan="0" * 64, actor="Ada")
    assert "another plan has taken its place" in (wrong or "")
    nobody = problem_after(client, "/facility/plan/adopt", plan=digest, actor="")
    assert "Your name" in (nobody or "")
    assert problem_after(client, "/facility/plan/adopt", plan=digest, actor="Ada") is None
    assert desk.state().ready is None
    assert f"/facility/plan/runs/{ready.plan.runs[0].id}" in client.get("/facility/plan").text


@pytest.mark.parametrize(
    ("error", "words"),
    [(ValueError("the horizon is too short"), "the horizon"), (MemoryError(), "see the log")],
)
def test_planning_that_fails_frees_the_desk_and_says_why(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, error: Exception, words: str
) -> None:
    def fails(*_: object) -> Draft:
        raise error

    monkeypatch.setattr(desks, "draft", fails)
    problem_after(client, "/facility/plan/solve")
    wait_for(desk_of(client))
    assert words in text_of(client, "/facility/plan")
    assert problem_after(client, "/facility/plan/solve") is None
    wait_for(desk_of(client))


def test_planning_without_a_facility_says_what_to_do_first(client: TestClient) -> None:
    problem_after(client, "/facility/plan/solve", seconds=5)
    wait_for(desk_of(client))
    assert "describe the facility first" in text_of(client, "/facility/plan")


@pytest.mark.parametrize("seconds", ["soon", "1.5"])
def test_seconds_to_plan_that_are_no_number(client: TestClient, seconds: str) -> None:
    problem = problem_after(client, "/facility/plan/solve", seconds=seconds)
    assert (problem or "").startswith("seconds: ")
    assert desk_of(client).state().working_since is None


# --- a run --------------------------------------------------------------------------------------


def test_a_gas_run_from_the_plan_to_the_unloading_through_the_pages(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    furnish(here)
    bring(here, VASE)
    finish(here, VASE, StepKind.STABILISE)
    allow(here, VASE)
    made = quick_draft(here)
    adopt(here, made, LEAD)
    name = planned_for(made, VASE)
    path = f"/facility/runs/{name}"

    def done(action: str, **form: object) -> None:
        assert problem_after(client, f"{path}/{action}", **({"actor": LEAD} | form)) is None, action

    assert "Not opened yet" in text_of(client, path)
    done("open")
    stopped = problem_after(client, f"{path}/load", scanned=BOWL, actor=LEAD)
    assert (stopped or "").startswith("STOP: no piece carries the tag")
    done("load", scanned=VASE.lower())
    done("phase", phase="sealed")
    unchecked = problem_after(client, f"{path}/phase", phase="dosing", actor=LEAD)
    assert "checks before dosing are not done" in (unchecked or "")
    done("check", checks=list(here.facts.dosing_checks), actor=FUMIGATOR)
    done("phase", phase="dosing")
    done("dose", mass="3.5", unit="g")
    clock.forward(minutes=10)
    for phase in ("holding", "airing"):
        done("phase", phase=phase)
    shut = problem_after(client, f"{path}/unseal", actor=FUMIGATOR)
    assert (shut or "").startswith("NOT CLEARED: ")
    assert "NOT CLEARED" in text_of(client, path)
    clock.forward(hours=1)
    for _ in range(2):
        clock.forward(hours=2)
        for zone in ZONES:
            done("reading", zone=zone, instrument="M-1", value="0.02", unit="ppm", oxygen="20.9")
            clock.forward(seconds=1)
    done("hold", minutes=241)
    digest = hand_of(here, name).clearance.readings
    seen_to = hand_of(here, name).clearance.seen_to
    for actor, role, licence in ((FUMIGATOR, "fumigator", LICENCE), (LEAD, "lead", "")):
        done("sign", readings=digest, seen_to=seen_to, role=role, licence_no=licence, actor=actor)
    assert "Every condition held" in text_of(client, path)
    done("unseal", actor=FUMIGATOR, readings=digest)
    done("unload", station="airing", counts="yes")
    record = run(here, name)
    assert record.phase is Phase.UNLOADED
    assert (record.opened_on, len(record.gas), len(record.doses)) == (digest, 4, 1)
    assert "The chamber was opened" in text_of(client, path)


VALID: dict[str, dict[str, str]] = {
    "load": {"scanned": VASE},
    "phase": {"phase": "sealed"},
    "dose": {"mass": "1", "unit": "g"},
    "hold": {"minutes": "30"},
    "sign": {"readings": "0" * 64, "seen_to": SEEN_TO, "role": "lead"},
    "unseal": {"readings": "0" * 64},
    "open": {},
    "reading": {
        "zone": "low",
        "instrument": "M-1",
        "value": "0.02",
        "unit": "ppm",
        "oxygen": "20.9",
    },
}


@pytest.mark.parametrize(
    ("action", "form", "mend"),
    [
        ("load", {"scanned": "nonsense"}, ""),
        ("phase", {"phase": "melting"}, "phase: melting is no phase"),
        ("phase", {"phase": "sealed", "reason": "x" * 5_000}, "reason: "),
        ("phase", {"phase": "unloaded"}, "phase: after “Loading” comes:"),
        ("dose", {"mass": "a lot", "unit": "g"}, "mass.value: "),
        ("dose", {"mass": "1", "unit": "stone"}, "mass.unit: "),
        ("hold", {"minutes": "a while"}, "minutes: "),
        ("hold", {"minutes": "-3"}, "minutes: write how many"),
        ("hold", {"minutes": "99999999999"}, "minutes: write how many"),
        ("sign", {"readings": "x", "seen_to": SEEN_TO, "role": "fumigator"}, "readings: "),
        (
            "sign",
            {"readings": "0" * 64, "seen_to": SEEN_TO, "role": "crew"},
            "role: choose who signs",
        ),
        ("unseal", {"readings": "short"}, "readings: "),
        ("unseal", {}, "NOT CLEARED: "),
        ("open", {}, "This run is not in the plan"),
        ("reading", {"zone": "low"}, "instrument: fill this in"),
    ],
)
def test_a_form_of_a_run_that_does_not_fit(
    client: TestClient, here: Installation, action: str, form: Any, mend: str
) -> None:
    furnish(here)
    bring(here, VASE)
    open_run(here, VASE, programme=AIR)
    path = f"/facility/runs/run-1/{action}"
    problem = problem_after(client, path, **({"actor": LEAD} | form))
    assert problem is not None
    assert problem.startswith(mend)
    assert "Your name" in (problem_after(client, path, **(VALID[action] | {"actor": ""})) or "")
    record = run(here, "run-1")
    assert (record.phase, record.loaded, record.doses) == (Phase.LOADING, [], [])
    assert (record.holds, record.signatures, record.gas) == ([], [], [])


@pytest.mark.parametrize(
    ("change", "mend"),
    [
        ({"value": "none"}, "value"),
        ({"value": "1,5"}, "value"),
        ({"unit": ""}, "unit"),
        ({"unit": "parts"}, "unit"),
        ({"oxygen": "lots"}, "percent"),
        ({"temperature_c": "warm"}, "temperature_c"),
    ],
)
def test_a_reading_that_cannot_be_read_is_not_guessed(
    client: TestClient, here: Installation, change: dict[str, str], mend: str
) -> None:
    furnish(here)
    bring(here, VASE)
    open_run(here, VASE, programme=GAS)
    form = VALID["reading"] | {"actor": LEAD} | change
    problem = problem_after(client, "/facility/runs/run-1/reading", **form)
    assert (problem or "").startswith(mend)
    assert (run(here, "run-1").gas, run(here, "run-1").oxygen) == ([], [])


# --- papers -------------------------------------------------------------------------------------


def pdf_text(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)


def test_a_run_has_its_sheet_planned_and_open(
    client: TestClient, here: Installation, house: Draft
) -> None:
    planned = planned_for(house, VASE)
    assert planned in pdf_text(client, f"/facility/runs/{planned}/sheet.pdf")
    open_run(here, VASE, run="other", programme=AIR)
    text = pdf_text(client, "/facility/runs/other/sheet.pdf")
    assert "other" in text
    assert VASE[:4] in text
    assert client.get("/facility/runs/none/sheet.pdf").status_code == 404


def test_only_a_gas_run_has_a_placard(client: TestClient, here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    open_run(here, VASE, programme=AIR, run="air-run")
    open_run(here, VASE, programme=GAS, run="gas-run", station="spare")
    text = pdf_text(client, "/facility/runs/gas-run/placard.pdf")
    for words in (FUMIGATOR, LICENCE, "555-0100"):
        assert words in text
    none = client.get("/facility/runs/air-run/placard.pdf")
    assert none.status_code == 404
    assert "needs no placard" in none.json()["detail"]


def test_a_placard_waits_for_the_licensed_person_on_file(
    client: TestClient, here: Installation
) -> None:
    furnish(here)
    bring(here, VASE)
    open_run(here, VASE, programme=GAS)
    say(here, ev.FacilityDescribed(facility=FACILITY.model_copy(update={"licensed": ()})))
    answer = client.get("/facility/runs/run-1/placard.pdf")
    assert answer.status_code == 404
    assert "add the licensed person" in answer.json()["detail"]


def test_a_chamber_is_loaded_scan_by_scan_and_its_sheet_changed(
    client: TestClient, here: Installation
) -> None:
    furnish(here)
    for tag in (VASE, BOWL, PANE):
        bring(here, tag, title=f"Jar {tag[-1]}")
    open_run(here, VASE, BOWL, programme=AIR)
    path = "/facility/runs/run-1/load"

    def after(action: str = "", **form: str) -> str:
        answer = client.post(path + action, data={"actor": "A & B"} | form, follow_redirects=True)
        assert answer.status_code == 200, action
        return " ".join("".join(Markup(answer.text).words).split())

    assert "STOPPED STOP: nothing was scanned." in after(scanned="")
    assert "STOPPED STOP: this is no tag of ours." in after(scanned="nonsense")
    assert "STOPPED STOP: wrong piece." in after(scanned=PANE)
    said = after(scanned=VASE)
    assert "In Jar 1" in said
    assert "1 of 2 loaded" in said
    assert 'value="A &amp; B"' in client.get(f"{path}?actor=A%20%26%20B").text
    assert "1 of 3 loaded" in after("/add", scanned=PANE)
    assert "0 of 2 loaded" in after("/take-off", scanned=VASE, reason="still damp")
    assert hand_of(here).run.tags == [BOWL, PANE]
    assert client.get("/facility/runs/nothing/load").status_code == 404
