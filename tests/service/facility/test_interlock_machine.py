"""Whatever people do in whatever order, a chamber opens only on good readings.

A state machine drives the real service with runs in two chambers. Its oracle is written here from
the rules alone and shares no code with the interlock: it keeps what was said and looks it up.
"""

import shutil
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

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

from service.installation import Installation
from service.log.append import Outcome
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Phase, Role
from tests.service.conftest import Clock
from tests.service.facility.house import (
    AIR,
    BOWL,
    FUMIGATOR,
    GAS,
    LEAD,
    LICENCE,
    LIMIT,
    VASE,
    ZONES,
    allow,
    bring,
    furnish,
    gas_read,
    hand_of,
    say,
    why_not_opened,
    why_refused,
)
from tests.writers import START, Writer, plain

RUNS = {"gas-1": (GAS, "box", VASE), "gas-2": (GAS, "box", BOWL), "air-1": (AIR, "box", BOWL)}
FRESH, HOLD, APART = timedelta(minutes=15), timedelta(hours=2), timedelta(hours=1)
IN_CHAMBER = set(Phase) - {Phase.PLANNED, Phase.UNLOADED}


@dataclass
class Told:
    """What was said of one run, in the order in which it was said."""

    phases: list[tuple[Phase, datetime]] = field(default_factory=list)
    doses: list[datetime] = field(default_factory=list)
    gas: dict[str, list[tuple[datetime, Decimal]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    oxygen: dict[str, list[tuple[datetime, Decimal]]] = field(
        default_factory=lambda: defaultdict(list)
    )
    holds: list[tuple[datetime, datetime]] = field(default_factory=list)
    signed: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    opened_at: datetime | None = None

    @property
    def phase(self) -> Phase:
        return self.phases[-1][0] if self.phases else Phase.PLANNED

    def why_shut(self, now: datetime) -> str | None:
        """The first plain reason why a chamber with gas must stay shut, if there is one."""
        if self.phase is not Phase.AIRING:
            return "not airing"
        since = max([at for phase, at in self.phases if phase is Phase.AIRING] + self.doses)
        holds = [
            s + HOLD for s, e in self.holds if s >= since and e - s >= HOLD and s + HOLD <= now
        ]
        if not holds:
            return "no closed hold"
        for zone in ZONES:
            passes = [(at, value) for at, value in self.gas[zone] if at > since]
            passes = [(at, value) for at, value in passes if at >= max(holds)]
            air = [(at, value) for at, value in self.oxygen[zone] if at > since]
            if not passes or not air or passes[-1][0] - passes[0][0] < APART:
                return "not measured twice"
            if now - passes[-1][0] >= FRESH or now - air[-1][0] >= FRESH:
                return "stale"
            if max(value for _, value in passes) > LIMIT:
                return "gas"
            if not Decimal("19.5") <= air[-1][1] <= Decimal("23.5"):
                return "oxygen"
        return None


class ChamberMachine(RuleBasedStateMachine):
    """People at work on three runs that all want the same chamber."""

    blank: Path
    answers: Counter[tuple[str, bool]]

    @initialize(planned=st.sampled_from([(), ("gas-1", "gas-2"), ("gas-1", "air-1")]))
    def begin(self, planned: tuple[str, ...]) -> None:
        self.folder = TemporaryDirectory()
        self.clock = Clock()
        chosen = Settings(folder=Path(self.folder.name))
        shutil.copy(self.blank, chosen.database)
        self.here = Installation(chosen, now=self.clock)
        furnish(self.here)
        for tag in (VASE, BOWL):
            bring(self.here, tag)
        allow(self.here, VASE, BOWL)
        self.told: dict[str, Told] = {}
        self.console = Writer("console", Role.FUMIGATOR)
        for run in planned:
            self.open_run(run)

    def teardown(self) -> None:
        if hasattr(self, "here"):
            self.here.close()
            self.folder.cleanup()

    def phase(self, run: str, phase: Phase) -> bool:
        body = ev.PhaseEntered(run=run, phase=phase, at=self.clock.at)
        stored = why_refused(self.here, body) is None
        told = self.told[run]
        if stored and told.opened_at is not None:
            assert phase in {Phase.CLEARED, Phase.UNLOADED}
            assert told.phase is Phase.CLEARED or max(told.doses, default=START) < told.opened_at
        if stored:
            told.phases.append((phase, self.clock.at))
        return stored

    def known(self, run: str) -> str:
        """The run, if it is open; else the one in the chamber, or any."""
        if run in self.told:
            return run
        inside = (name for name, told in self.told.items() if told.phase in IN_CHAMBER)
        return next(inside, min(self.told))

    runs = st.sampled_from(sorted(RUNS))
    open_runs = st.sampled_from(["inside", "inside", "inside", *sorted(RUNS)])
    values = st.sampled_from(["0", "0.02", "<LOD", "0.1", "0.11", "3"])

    @rule(run=runs)
    def open_run(self, run: str) -> None:
        programme, station, tag = RUNS[run]
        body = ev.RunOpened(
            run=run, station=station, programme=programme.id, version=1, tags=(tag,)
        )
        if why_refused(self.here, body) is None:
            assert run not in self.told
            self.told[run] = Told()

    @precondition(lambda self: self.told)
    @rule(run=open_runs, phase=st.sampled_from(list(Phase)), minutes=st.integers(0, 90))
    def enter_phase(self, run: str, phase: Phase, minutes: int) -> None:
        self.clock.forward(minutes=minutes)
        self.phase(self.known(run), phase)

    @rule(run=runs)
    def work_up_to_airing(self, run: str) -> None:
        """The usual way, so that the end of a run is reached often."""
        self.open_run(run)
        if run not in self.told:
            return
        for phase in (Phase.LOADING, Phase.SEALED, Phase.HOLDING, Phase.AIRING):
            self.clock.forward(minutes=5)
            if phase is Phase.SEALED:
                why_refused(self.here, ev.ItemLoaded(run=run, tag=RUNS[run][2]))
            self.phase(run, phase)

    @rule(
        run=open_runs,
        first=st.sampled_from(["0.02", "0.02", "0.02", "0.11"]),
        value=values,
        dosed=st.booleans(),
        wait_min=st.sampled_from([0, 1, 14, 15]),
        later=st.sampled_from([None, None, "reading", "dose"]),
    )
    def all_the_way_to_the_door(
        self, run: str, first: str, value: str, dosed: bool, wait_min: int, later: str | None
    ) -> None:
        """A whole run as it should go, with at most one thing out of place at the end."""
        self.open_run("gas-1" if run == "inside" else run)
        run = self.known(run)
        if dosed and self.told[run].phase is Phase.PLANNED:
            for phase in (Phase.LOADING, Phase.SEALED, Phase.DOSING):
                if phase is Phase.SEALED:
                    why_refused(self.here, ev.ItemLoaded(run=run, tag=RUNS[run][2]))
                self.phase(run, phase)
            self.dose(run)
            self.clock.forward(minutes=5)
            self.phase(run, Phase.AIRING)
        else:
            self.work_up_to_airing(run)
        self.hold_closed_and_measure_twice(run, first, value)
        self.sign(run, (FUMIGATOR, LEAD))
        if later == "reading":
            self._measured(run, value, "20.9")
        if later == "dose":
            self.dose(run)
        self.clock.forward(minutes=wait_min)
        self.open_chamber(run)

    @precondition(lambda self: self.told)
    @rule(run=open_runs)
    def dose(self, run: str) -> None:
        run = self.known(run)
        mass = ev.Mass(value="2", unit="g")
        say(self.here, ev.DoseAdded(run=run, mass=mass, at=self.clock.at))
        self.told[run].doses.append(self.clock.at)

    @precondition(lambda self: self.told)
    @rule(
        run=open_runs,
        value=values,
        oxygen=st.sampled_from(["20.9", "20.9", "20.9", "19.4", "23.6"]),
        zones=st.sampled_from([ZONES, ZONES, ZONES, ZONES[:1]]),
        minutes=st.integers(0, 70),
    )
    def measure(
        self, run: str, value: str, oxygen: str, zones: tuple[str, ...], minutes: int
    ) -> None:
        self.clock.forward(minutes=minutes)
        self._measured(self.known(run), value, oxygen, zones)

    def _measured(self, run: str, value: str, oxygen: str, zones: tuple[str, ...] = ZONES) -> None:
        at = self.clock.at
        for zone in zones:
            air = ev.OxygenRead(run=run, zone=zone, percent=oxygen, taken_at=at)
            say(self.here, gas_read(self.here, zone, value, run), air)
            shown = Decimal("0.005") if value == "<LOD" else Decimal(value)
            self.told[run].gas[zone].append((at, shown))
            self.told[run].oxygen[zone].append((at, Decimal(oxygen)))
        self.clock.forward(seconds=1)

    @precondition(lambda self: self.told)
    @rule(run=open_runs, first=values, last=values)
    def hold_closed_and_measure_twice(self, run: str, first: str, last: str) -> None:
        run = self.known(run)
        starts = self.clock.forward(seconds=1)
        self.clock.forward(hours=2)
        self._measured(run, first, "20.9")
        self.clock.forward(hours=1)
        self._measured(run, last, "20.9")
        say(self.here, ev.HoldClosed(run=run, starts_at=starts, ends_at=self.clock.at))
        self.told[run].holds.append((starts, self.clock.at))

    @precondition(lambda self: self.told)
    @rule(run=open_runs, who=st.sampled_from([(FUMIGATOR, LEAD)] * 3 + [(LEAD,), (FUMIGATOR,)]))
    def sign(self, run: str, who: tuple[str, ...]) -> None:
        run = self.known(run)
        digest = hand_of(self.here, run).clearance.readings
        if digest is None:
            return
        for name in who:
            licensed = name == FUMIGATOR
            body = ev.ClearanceSigned(
                run=run, signer=name, licence_no=LICENCE if licensed else "", readings=digest
            )
            say(self.here, body, role=Role.FUMIGATOR if licensed else Role.LEAD, actor=name)
            self.told[run].signed[digest].add(name)

    @precondition(lambda self: self.told)
    @rule(run=open_runs)
    def open_chamber(self, run: str) -> None:
        run = self.known(run)
        digest = hand_of(self.here, run).clearance.readings or "0" * 64
        opened = why_not_opened(self.here, digest, run) is None
        self._judge(run, digest, opened)

    @precondition(lambda self: self.told)
    @rule(run=open_runs)
    def dose_and_open_in_one_message(self, run: str) -> None:
        """What comes first in a batch must count for what comes after it."""
        run = self.known(run)
        digest = hand_of(self.here, run).clearance.readings or "0" * 64
        mass = ev.Mass(value="2", unit="g")
        self.console.journal.saw(1_000_000)
        sent = plain(
            self.console.say(ev.DoseAdded(run=run, mass=mass, at=self.clock.at)),
            self.console.say(ev.ChamberOpened(run=run, readings=digest, at=self.clock.at)),
        )
        self.told[run].doses.append(self.clock.at)
        receipts = self.here.log.append(sent).receipts
        self._judge(run, digest, receipts[1].outcome is Outcome.STORED)

    def _judge(self, run: str, digest: str, opened: bool) -> None:
        """Hold an answer at the door against what was said of the run."""
        told = self.told[run]
        if RUNS[run][0] is AIR:
            expected = told.phase is Phase.AIRING and not told.doses
        else:
            signed = told.signed[digest] == {FUMIGATOR, LEAD}
            expected = told.why_shut(self.clock.at) is None and signed
        self.answers[RUNS[run][0].id, opened] += 1
        assert opened == expected, (told.why_shut(self.clock.at), told)
        if opened:
            others = [name for name in self.told if name != run]
            assert not [name for name in others if self.told[name].phase in IN_CHAMBER]
            told.opened_at = self.clock.at

    @invariant()
    def only_one_run_is_in_the_chamber(self) -> None:
        inside = [
            run for run, told in getattr(self, "told", {}).items() if told.phase in IN_CHAMBER
        ]
        assert len(inside) <= 1

    @invariant()
    def what_is_recorded_is_what_was_allowed(self) -> None:
        for run, told in getattr(self, "told", {}).items():
            assert hand_of(self.here, run).run.opened_at == told.opened_at
            cleared = {phase for phase, _ in told.phases} & {Phase.CLEARED, Phase.UNLOADED}
            assert told.opened_at or not cleared


def test_a_chamber_opens_exactly_when_it_is_cleared(blank_database: Path) -> None:
    ChamberMachine.blank, ChamberMachine.answers = blank_database, Counter()
    run_state_machine_as_test(
        ChamberMachine,
        settings=settings(
            max_examples=40,
            stateful_step_count=25,
            deadline=None,
            derandomize=True,  # so that each answer is known to come up on every machine
            # Shrinking would take longer than a test may; these steps can be read as they are.
            phases=[Stage.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    # The comparison would say nothing if one of the answers never came up.
    for opened in (True, False):
        assert ChamberMachine.answers[GAS.id, opened] > 0, ChamberMachine.answers
