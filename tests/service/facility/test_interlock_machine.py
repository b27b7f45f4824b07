"""Whatever people, meters and clocks do in whatever order, a chamber opens only when it is cleared.

A state machine drives the real service: people through its pages, sensors and late phones through
its log. What it says happened is kept as a story, and the oracle, which shares no code with the
interlock, says of the story whether the chamber may be opened. After every step the service has to
say the same, and at the door it has to do so.

In the suite it runs for a short while. ``make interlock`` runs 2,000 examples of 50 steps, or as
many as ``LAGAN_INTERLOCK`` says (``examples x steps``).
"""

import os
import shutil
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import unquote

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import Phase as Stage
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)
from starlette.testclient import TestClient

from service.app import create_app
from service.facility.runs import NEXT_PHASES
from service.installation import Installation
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Phase, Role
from tests.service.conftest import Clock
from tests.service.facility.house import (
    FUMIGATOR,
    GAS,
    LEAD,
    LICENCE,
    METER,
    VASE,
    ZONES,
    allow,
    bring,
    checked,
    furnish,
    gas_read,
    hand_of,
    open_run,
    say,
)
from tests.shared.interlock_oracle import (
    Dosed,
    Entered,
    Fact,
    Held,
    Read,
    Registered,
    Signed,
    Story,
    may_open,
)

RUN = "run-1"
PATH = f"/facility/runs/{RUN}"
OZONE_G_MOL = 47.998
"""IUPAC abridged atomic weights, O 15.999."""
NOBODY_SIGNED = "0" * 64
SHORT = "15x20"
SIGNERS = {
    "fumigator": (FUMIGATOR, Role.FUMIGATOR, LICENCE),
    "lead": (LEAD, Role.LEAD, ""),
    "fumigator again": (f" {FUMIGATOR.upper()} ", Role.LEAD, ""),
    "no licence": ("Al Other", Role.FUMIGATOR, "LIC-9"),
}


def _story() -> Story:
    assert GAS.clearance is not None
    meter = Registered(
        METER.instrument, METER.gas, METER.detection_limit_ppm, METER.calibrated_until
    )
    licences = {LICENCE: GAS.expires}
    return Story((meter,), GAS.clearance, ZONES, OZONE_G_MOL, licences)


class DoorMachine(RuleBasedStateMachine):
    """People at work on one run with a gas, and whoever reads its meters."""

    ready: Path
    client: TestClient
    seen: Counter[str]

    @initialize()
    def begin(self) -> None:
        self.folder = TemporaryDirectory()
        self.wall = Clock()
        chosen = Settings(folder=Path(self.folder.name))
        shutil.copy(self.ready, chosen.database)
        self.here = Installation(chosen, now=self.wall)
        self.client.app.state.installation = self.here  # type: ignore[attr-defined]
        self.story = _story().then(Entered(Phase.LOADING, self.wall.at))
        self.phase = Phase.LOADING
        self.pages: list[tuple[str, datetime | None, int]] = []
        self.count = 0

    def teardown(self) -> None:
        if hasattr(self, "here"):
            self.here.close()
            self.folder.cleanup()

    # --- what is said, and what becomes of it --------------------------------------------------

    def now(self) -> datetime:
        """The service's time, a second on; the wall's clock may stand behind it."""
        self.wall.forward(seconds=1)
        return self.here.now()

    def post(self, act: str, **form: object) -> str | None:
        """Send one of the run's forms; what its answer says went wrong."""
        answer = self.client.post(
            f"{PATH}/{act}", data={name: str(value) for name, value in form.items()}
        )
        assert answer.status_code == 303, (act, answer.status_code, answer.text[:300])
        return unquote(answer.headers["location"].partition("?problem=")[2]) or None

    def tell(self, *facts: Fact) -> None:
        self.story = self.story.then(*facts)

    def enter(self, phase: Phase) -> None:
        now = self.now()
        if phase is Phase.DOSING:
            say(self.here, checked(self.here))
        if self.post("phase", phase=phase.value, actor=LEAD, reason="tried") is None:
            self.tell(Entered(phase, now))
            self.phase = phase

    def read(self, zone: str, value: str, oxygen: str) -> None:
        """A reading by hand, on the run's page."""
        now = self.now()
        problem = self.post(
            "reading",
            zone=zone,
            instrument="M-1",
            value=value,
            unit="ppm",
            oxygen=oxygen,
            actor=FUMIGATOR,
        )
        assert problem is None, problem
        self.tell(Read("gas", zone, value, now, now, "M-1"), Read("oxygen", zone, oxygen, now, now))

    def read_all(self, value: str, oxygen: str = "20.9") -> None:
        """A reading of every zone, by sensors."""
        now = self.now()
        self.count += 1
        bodies: list[ev.GasRead | ev.OxygenRead] = []
        for zone in ZONES:
            name = f"a-{self.count}-{zone}"
            bodies.append(gas_read(self.here, zone, value, reading=name))
            bodies.append(ev.OxygenRead(run=RUN, zone=zone, percent=oxygen, taken_at=now))
            self.tell(Read("gas", zone, value, now, now, "M-1"))
            self.tell(Read("oxygen", zone, oxygen, now, now))
        say(self.here, *bodies)

    def hold(self, minutes: int) -> None:
        now = self.now()
        assert self.post("hold", minutes=minutes, actor=FUMIGATOR) is None
        self.tell(Held(now - timedelta(minutes=minutes), now))

    def look(self) -> None:
        """Somebody calls up the page and leaves it open."""
        found = hand_of(self.here).clearance
        self.pages.append((found.readings or NOBODY_SIGNED, found.seen_to, len(self.story.facts)))

    def put_name(self, who: str, page: int = -1) -> None:
        """Somebody signs a page, called up now or long ago."""
        self.now()
        digest, seen_to, looked = self.pages[page]
        name, role, licence = SIGNERS[who]
        problem = self.post(
            "sign",
            readings=digest,
            seen_to=seen_to or self.here.now(),
            role=role.value,
            licence_no=licence,
            actor=name,
        )
        assert problem is None, problem
        if digest != NOBODY_SIGNED:
            self.tell(Signed(name, name.strip(), role, licence, looked))

    # --- steps ---------------------------------------------------------------------------------

    values = st.sampled_from(["0.02", "0.02", "0.02", "0.04", "<LOD", "0.1", "0.101", "3"])
    oxygens = st.sampled_from(["20.9", "20.9", "20.9", "20.9", "19.4", "23.6", "22"])
    zones = st.sampled_from(ZONES)

    @rule(data=st.data())
    def next_phase(self, data: st.DataObject) -> None:
        self.enter(data.draw(st.sampled_from([*NEXT_PHASES[self.phase], Phase.CLEARED])))

    @rule(value=values, last=values)
    def measure_as_one_should(self, value: str, last: str) -> None:
        """Bring it to the airing, hold it closed, and measure twice."""
        way = [Phase.LOADING, Phase.SEALED, Phase.DOSING, Phase.AIRING]
        for phase in way[way.index(self.phase) + 1 :] if self.phase in way else [Phase.AIRING]:
            self.enter(phase)
            if phase is Phase.DOSING:
                self.dose()
        self.wall.forward(minutes=125)
        self.hold(121)
        self.read_all(value)
        self.wall.forward(minutes=61)
        self.read_all(last)

    @rule(between=st.booleans(), one_page=st.booleans())
    def measure_and_both_sign(self, between: bool, one_page: bool) -> None:
        """All as it should be, up to the two names."""
        self.measure_as_one_should("0.02", "0.02")
        self.look()
        self.put_name("fumigator")
        if between:
            self.wall.forward(minutes=1)
            self.read_all("0.02")
        if not one_page:
            self.look()
        self.put_name("lead")

    @precondition(lambda self: self.phase is Phase.AIRING)
    @rule()
    def both_sign(self) -> None:
        self.look()
        self.put_name("lead")
        self.put_name("fumigator")

    @rule(who=st.sampled_from(sorted(SIGNERS)), data=st.data())
    def sign(self, who: str, data: st.DataObject) -> None:
        if not self.pages or data.draw(st.booleans()):
            self.look()
        self.put_name(who, data.draw(st.integers(-min(3, len(self.pages)), -1)))

    def dose(self) -> None:
        now = self.now()
        assert self.post("dose", mass="2", unit="g", actor=FUMIGATOR) is None
        self.tell(Dosed(now, now))

    @rule(ago_h=st.sampled_from([None, None, -1, 0, 3, 12]))
    def more_agent(self, ago_h: int | None) -> None:
        """Agent is dosed now, or a dose of another time comes to be known."""
        if ago_h is None:
            self.dose()
            return
        now = self.now()
        at = now - timedelta(hours=ago_h)
        say(self.here, ev.DoseAdded(run=RUN, mass=ev.Mass(value="1", unit="g"), at=at))
        self.tell(Dosed(at, now))

    @rule(minutes=st.sampled_from([60, 119, 120, 121, 180]))
    def record_a_hold(self, minutes: int) -> None:
        self.hold(minutes)

    @rule(value=values, oxygen=oxygens)
    def read_every_zone(self, value: str, oxygen: str) -> None:
        self.read_all(value, oxygen)

    @rule(zone=zones, value=values, oxygen=oxygens)
    def read_one_zone(self, zone: str, value: str, oxygen: str) -> None:
        self.read(zone, value, oxygen)

    @rule(times=st.integers(1, 5), value=st.sampled_from(["0.02", "0.02", "0.019", "<LOD"]))
    def read_on(self, times: int, value: str) -> None:
        for _ in range(times):
            self.wall.forward(minutes=1)
            self.read_all(value)

    @rule(
        zone=st.sampled_from([*ZONES, *ZONES, "middle"]),
        meter=st.sampled_from(["M-1", "M-1", "M-2", "M-9"]),
        value=st.sampled_from(["0.02", "0.019", "0.021", "0.09", "<LOD", "-0.02", "2"]),
        unit=st.sampled_from(["ppm", "ppm", "ppm", "mg/m3"]),
        celsius=st.sampled_from(["20", "20", "-200"]),
        ago_s=st.sampled_from([0, 0, 1, 119, 121, 899, 900, 3600, -119, -120, -121, -3600]),
    )
    def sensor(
        self, zone: str, meter: str, value: str, unit: str, celsius: str, ago_s: int
    ) -> None:
        now = self.now()
        self.count += 1
        taken = now - timedelta(seconds=ago_s)
        facts: dict[str, Any] = {
            "instrument": meter,
            "unit": unit,
            "temperature_c": celsius,
            "taken_at": taken,
        }
        say(self.here, gas_read(self.here, zone, value, reading=f"s-{self.count}", **facts))
        self.tell(Read("gas", zone, value, taken, now, meter, unit, celsius))

    @rule(
        zone=zones,
        percent=st.sampled_from(["20.9", "20.9", "21.4", "22", "19.5", "19.4"]),
        ago_s=st.sampled_from([0, 0, 119, 121, 899, 900, -120, -121]),
    )
    def oxygen_sensor(self, zone: str, percent: str, ago_s: int) -> None:
        now = self.now()
        taken = now - timedelta(seconds=ago_s)
        say(self.here, ev.OxygenRead(run=RUN, zone=zone, percent=percent, taken_at=taken))
        self.tell(Read("oxygen", zone, percent, taken, now))

    @rule(
        meter=st.sampled_from(["M-1", "M-2"]),
        gas=st.sampled_from(["ozone", "ozone", "ozone", "sulfuryl_fluoride"]),
        sees=st.sampled_from(["0.005", "0.005", "0.2"]),
        days=st.sampled_from([-1, 100, 100, 100]),
    )
    def register(self, meter: str, gas: str, sees: str, days: int) -> None:
        """A meter comes on file, is calibrated anew, or its calibration is revoked."""
        until = self.now() + timedelta(days=days)
        body = ev.InstrumentRegistered(
            instrument=meter, gas=gas, detection_limit_ppm=sees, calibrated_until=until
        )
        say(self.here, body)
        self.tell(Registered(meter, gas, sees, until))

    @rule(minutes=st.sampled_from([1, 5, 13, 14, 15, 16, 61, 125]))
    def wait(self, minutes: int) -> None:
        self.wall.forward(minutes=minutes)

    @rule(minutes=st.sampled_from([1, 3, 61, 24 * 60]))
    def put_the_clock_back(self, minutes: int) -> None:
        before = self.here.now()
        self.wall.forward(minutes=-minutes)
        assert self.here.now() == before

    @rule()
    def put_the_clock_right(self) -> None:
        self.wall.at = max(self.wall.at, self.here.now())

    @rule(
        odd=st.sampled_from(
            ["", "", "wait", "dose", "higher", "sensor", "oxygen", "look", "phase"]
        ),
        wait_min=st.sampled_from([0, 13, 14, 15]),
    )
    def all_the_way_to_the_door(self, odd: str, wait_min: int) -> None:
        """A run as it should go, with at most one thing out of place on the way to the door."""
        self.measure_and_both_sign(between=odd == "wait", one_page=odd != "look")
        digest = (hand_of(self.here).clearance.signed or (NOBODY_SIGNED,))[-1]
        match odd:
            case "wait":
                self.wall.forward(minutes=wait_min)
            case "dose":
                self.dose()
            case "higher":
                self.read(ZONES[1], "0.021", "20.9")
            case "sensor":
                self.sensor("high", "M-1", "0.02", "ppm", "20", 60 * wait_min)
            case "oxygen":
                self.oxygen_sensor("low", "22", 119)
            case "phase":
                self.enter(Phase.ABORTED)
            case _:
                self.read_all("0.02")
        self.knock(digest)

    @rule(data=st.data())
    def open_the_door(self, data: st.DataObject) -> None:
        """By the page as it is, or by one that was called up before."""
        standing = hand_of(self.here).clearance.signed or (NOBODY_SIGNED,)
        digest = data.draw(st.sampled_from([*standing, *standing, *[x for x, *_ in self.pages]]))
        self.knock(digest)

    def knock(self, digest: str) -> None:
        """Open the door by a page that says ``digest``, and hold the answer against the story."""
        named = digest in hand_of(self.here).clearance.signed
        now = self.now()
        opened = self.post("unseal", readings=digest, actor=FUMIGATOR) is None
        cleared = may_open(self.story, now)
        self.seen["opened" if opened else "refused"] += 1
        assert opened == (cleared and named), (opened, cleared, named)
        run = hand_of(self.here).run
        assert (run.opened_at, run.opened_on) == ((now, digest) if opened else (None, None))
        assert run.phase is (Phase.CLEARED if opened else self.phase)
        if opened:
            self.teardown()
            self.begin()

    @invariant()
    def the_service_says_what_the_oracle_says(self) -> None:
        if not hasattr(self, "here"):
            return
        hand = hand_of(self.here)
        cleared = may_open(self.story, self.here.now())
        self.seen["steps"] += 1
        self.seen["cleared"] += cleared
        assert hand.clearance.may_open == cleared, (hand.clearance, self.story)
        assert hand.run.opened_at is None
        assert hand.run.phase is self.phase


@pytest.fixture(scope="module")
def loaded(blank_database: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run whose one piece is in the chamber, in a database to be copied."""
    chosen = Settings(folder=tmp_path_factory.mktemp("loaded"))
    shutil.copy(blank_database, chosen.database)
    here = Installation(chosen, now=Clock())
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)
    open_run(here, VASE)
    say(here, ev.ItemLoaded(run=RUN, tag=VASE))
    here.close()
    return chosen.database


@pytest.mark.timeout(0 if "LAGAN_INTERLOCK" in os.environ else 300)
def test_a_chamber_opens_exactly_when_it_is_cleared(
    loaded: Path, blank_database: Path, tmp_path: Path
) -> None:
    examples, _, steps = os.environ.get("LAGAN_INTERLOCK", SHORT).partition("x")
    chosen = Settings(folder=tmp_path)
    shutil.copy(blank_database, chosen.database)
    DoorMachine.ready, DoorMachine.seen = loaded, Counter()
    DoorMachine.client = TestClient(create_app(Installation(chosen)), follow_redirects=False)
    in_suite = f"{examples}x{steps}" == SHORT
    run_state_machine_as_test(
        DoorMachine,
        settings=settings(
            max_examples=int(examples),
            stateful_step_count=int(steps),
            deadline=None,
            derandomize=in_suite,  # so that each answer is known to come up on every machine
            database=None,
            # Shrinking would take longer than a test may; these steps can be read as they are.
            phases=[Stage.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    print(dict(DoorMachine.seen))
    # The comparison would say nothing if one of the answers never came up.
    for answer in ("opened", "refused", "cleared"):
        assert DoorMachine.seen[answer] > 0, DoorMachine.seen
