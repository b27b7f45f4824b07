"""The interlock's cases that are about the service around it, and its clock."""

from datetime import timedelta
from urllib.parse import unquote

import pytest
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from service.installation import Installation, NeverBack
from service.log import reading
from service.log.append import Outcome
from shared import events as ev
from shared.clearance import State
from shared.vocabulary import Phase, Role
from tests.service.conftest import Clock
from tests.service.facility.house import (
    BOWL,
    FUMIGATOR,
    LEAD,
    LICENCE,
    VASE,
    allow,
    bring,
    enter,
    furnish,
    hand_of,
    open_run,
    read_all,
    say,
    sign_both,
    why_not_opened,
)
from tests.shared.interlock_cases import AT_THE_SERVICE
from tests.writers import START, Writer, plain

PATH = "/facility/runs/run-1"


@pytest.fixture(autouse=True)
def measured(here: Installation, clock: Clock) -> None:
    """A run that was held closed and measured twice; nobody has signed."""
    furnish(here)
    for tag in (VASE, BOWL):
        bring(here, tag)
    allow(here, VASE, BOWL)
    open_run(here, VASE)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.HOLDING, Phase.AIRING)
    starts = clock.forward(minutes=1)
    for _ in range(2):
        clock.forward(hours=2)
        read_all(here)
    say(here, ev.HoldClosed(run="run-1", starts_at=starts, ends_at=here.now()))


def opened_by_the_page(client: TestClient, digest: str) -> str | None:
    answer = client.post(f"{PATH}/unseal", data={"readings": digest, "actor": FUMIGATOR})
    return unquote(answer.headers["location"].partition("?problem=")[2]) or None


def test_the_cases_acted_out_here_are_those_that_the_table_leaves_to_the_service() -> None:
    assert {"clearance given offline", "database error during check"} == AT_THE_SERVICE


def test_a_clearance_given_offline_counts_only_once_the_service_has_it(
    here: Installation, clock: Clock, client: TestClient
) -> None:
    looked = hand_of(here).clearance
    assert looked.readings is not None
    console = Writer("console", Role.FUMIGATOR)
    console.journal.saw(1_000_000)
    signatures = []
    for name, role, licence in ((FUMIGATOR, Role.FUMIGATOR, LICENCE), (LEAD, Role.LEAD, "")):
        console.role = role
        body = ev.ClearanceSigned(
            run="run-1",
            signer=name,
            licence_no=licence,
            readings=looked.readings,
            seen_to=looked.seen_to,
        )
        signatures.append(console.say(body))
    opening = console.say(ev.ChamberOpened(run="run-1", readings=looked.readings, at=here.now()))
    # They are on the device: the service knows nothing of them, and its page says so.
    assert "NOT CLEARED" in client.get(PATH).text
    assert (opened_by_the_page(client, looked.readings) or "").startswith("NOT CLEARED: ")
    # By the time they come in the readings are stale; the opening is refused and not recorded.
    clock.forward(minutes=15)
    *signed, opened = here.log.append(plain(*signatures, opening)).receipts
    assert [one.outcome for one in signed] == [Outcome.STORED, Outcome.STORED]
    assert opened.outcome is Outcome.REFUSED
    assert hand_of(here).run.opened_at is None


def test_a_database_error_during_the_check_means_not_cleared(
    here: Installation, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    digest = sign_both(here)
    assert hand_of(here).clearance.state is State.CLEARED

    def broken(*_: object) -> None:
        raise OperationalError("select", {}, Exception("disk I/O error"))

    with monkeypatch.context() as failing:
        failing.setattr(reading, "run", broken)
        answer = opened_by_the_page(client, digest)
    assert answer == "NOT CLEARED: the check itself failed; do not open"
    assert hand_of(here).run.opened_at is None


def test_an_opening_names_what_was_signed_though_the_sensors_read_on(
    here: Installation, clock: Clock, client: TestClient
) -> None:
    digest = sign_both(here)
    for _ in range(6):
        clock.forward(seconds=10)
        read_all(here)
    found = hand_of(here).clearance
    assert found.state is State.CLEARED
    assert found.readings != digest
    assert f'name="readings" value="{digest}"' in client.get(PATH).text
    assert why_not_opened(here, found.readings or "") == (
        "NOT CLEARED: the readings have changed since they were signed"
    )
    assert opened_by_the_page(client, digest) is None


def test_why_names_fell_is_shown_until_others_stand(
    here: Installation, clock: Clock, client: TestClient
) -> None:
    sign_both(here)
    clock.forward(seconds=10)
    read_all(here, "0.03")
    assert "higher than what was signed" in client.get(PATH).text
    sign_both(here)
    page = client.get(PATH).text
    assert "NOT CLEARED" not in page
    assert "higher than what was signed" not in page


@pytest.mark.parametrize(
    "phase", [Phase.LOADING, Phase.SEALED, Phase.DOSING, Phase.HOLDING, Phase.AIRING]
)
def test_a_run_aborted_in_any_phase_stays_shut_until_it_is_aired_and_measured(
    here: Installation, phase: Phase
) -> None:
    open_run(here, BOWL, run="run-2", station="spare")
    say(here, ev.ItemLoaded(run="run-2", tag=BOWL))
    way = {
        Phase.LOADING: (),
        Phase.SEALED: (Phase.SEALED,),
        Phase.DOSING: (Phase.SEALED, Phase.DOSING),
        Phase.HOLDING: (Phase.SEALED, Phase.HOLDING),
        Phase.AIRING: (Phase.SEALED, Phase.HOLDING, Phase.AIRING),
    }[phase]
    enter(here, *way, run="run-2")
    enter(here, Phase.ABORTED, run="run-2")
    assert "NOT CLEARED" in (why_not_opened(here, run="run-2") or "")
    enter(here, Phase.AIRING, run="run-2")
    assert "NOT CLEARED" in (why_not_opened(here, sign_both(here, "run-2"), "run-2") or "")


# --- the clock ----------------------------------------------------------------------------------


def test_a_clock_that_is_put_back_makes_nothing_fresh_again(
    here: Installation, clock: Clock
) -> None:
    digest = sign_both(here)
    clock.forward(minutes=15)
    assert "15 min old" in (why_not_opened(here, digest) or "")
    for back in (1, 61, 24 * 60):
        clock.forward(minutes=-back)
        assert "15 min old" in (why_not_opened(here, digest) or "")


def test_time_goes_on_while_the_system_s_clock_is_behind() -> None:
    wall, uptime = Clock(), [500.0]
    now = NeverBack(wall, START, lambda: uptime[0])
    assert now() == wall.at
    begun = wall.at
    wall.forward(hours=-1)
    for _ in range(3):
        uptime[0] += 300
    assert now() == begun + timedelta(minutes=15)
    wall.forward(hours=2)
    assert now() == wall.at


def test_a_service_that_starts_with_its_clock_behind_goes_on_from_what_is_on_record() -> None:
    wall, uptime = Clock(), [7.0]
    latest = wall.at + timedelta(hours=1)
    now = NeverBack(wall, latest, lambda: uptime[0])
    assert now() == latest
    uptime[0] += 60
    assert now() == latest + timedelta(minutes=1)
