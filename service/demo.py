"""The whole job on an invented scenario, through the same doors that people use.

The phones' events go in as a phone would send them; triage, planning, guarded loading, readings
and clearance are the service's own. Nothing is written around the log.
"""

import shutil
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from heapq import heapify, heappop, heapreplace
from itertools import groupby
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from demo_data import NOTICE
from demo_data.facility import HARD_GOODS
from demo_data.rates import HOUR, RATES
from demo_data.readings import simulate_run
from demo_data.scenario import Scenario, build
from labels.codes import new_tags
from labels.runsheet import write_run_sheets
from labels.sheets import layout_named, write_tag_sheets
from scheduler.plan import Plan
from scheduler.plan import Run as PlannedRun
from scheduler.problem import Problem
from service.assessing import triage_of
from service.facility.plans import Draft, SolveError, adopt, draft
from service.facility.runs import in_hand
from service.facility.sheets import RunPaper, planned_times, run_sheet
from service.installation import Installation
from service.log import reading
from service.log.append import Outcome, RefusedError
from service.log.custody import verify_bundle, write_bundle
from service.log.reading import EVERYTHING
from service.reports.issue import InventoryFormat, inventory_from, write_inventory, write_manifest
from service.settings import Settings
from shared import events as ev
from shared.facility import Room
from shared.programmes import Programme
from shared.records import FacilityBook
from shared.treatments import chamber_targets
from shared.vocabulary import Band, Phase, Role, StepKind

MARKER = "lagan-demo"
BATCH = 200
LEAD = "Maelis Corrowby (invented)"
BENCH = "Rowan Tidewell (invented)"
CONSERVATOR = "Edda Quillane (invented)"


class DemoError(RuntimeError):
    """The demonstration could not be finished; the message says where it stopped."""


class DemoClock:
    """The scenario's own clock, moved by what happens in it."""

    def __init__(self) -> None:
        self.at = datetime(2000, 1, 1, tzinfo=UTC)

    def __call__(self) -> datetime:
        """The scenario's present moment."""
        return self.at

    def to(self, moment: datetime) -> None:
        """Move on to ``moment``; time never goes back."""
        self.at = max(self.at, moment)


@dataclass
class Summary:
    """What the demonstration did, in numbers a lead would ask for."""

    out: Path
    installation: Path
    facts: dict[str, Any] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def text(self) -> str:
        """For a person."""
        return "\n".join([NOTICE, "", *self.lines])


def run_demo(
    out: Path,
    *,
    seconds: float,
    seed: int = 1,
    scenario: Scenario | None = None,
    say: Callable[[str], None] = lambda words: None,
) -> Summary:
    """Do the whole job on a scenario and write every document into ``out``.

    ``seconds`` is the time for planning; ``seed`` draws the scenario unless one is given. Raises
    ``DemoError``.
    """
    folder = out / "installation"
    _clear(out, folder)
    clock = DemoClock()
    summary = Summary(out, folder)
    here = Installation(Settings(folder=folder), now=clock)
    try:
        _Demo(here, clock, summary, say).run(scenario or build(seed), seconds)
    except (SolveError, RefusedError) as error:
        raise DemoError(str(error)) from error
    finally:
        here.close()
    return summary


def _clear(out: Path, folder: Path) -> None:
    """Make room for a fresh demonstration, and touch nothing that is not one."""
    if folder.exists():
        if not (folder / MARKER).exists():
            raise DemoError(f"{folder} is no demonstration's folder; give another --out")
        shutil.rmtree(folder)
    folder.mkdir(parents=True)
    (folder / MARKER).write_text("made by lagan demo; safe to delete\n", encoding="utf-8")
    out.mkdir(parents=True, exist_ok=True)


@dataclass
class _Demo:
    here: Installation
    clock: DemoClock
    summary: Summary
    say: Callable[[str], None]

    def run(self, scenario: Scenario, seconds: float) -> None:
        with self._timed("send"):
            self._send(scenario)
        self.clock.to(scenario.now)
        self._triage()
        self._conservator()
        with self._timed("plan"):
            made = draft(self.here, seconds)
        adopt(self.here, made, LEAD)
        self._plan_facts(made)
        runs = self._run_two(made)
        with self._timed("documents"):
            self._write(scenario, made, runs)

    @contextmanager
    def _timed(self, name: str) -> Iterator[None]:
        started = time.perf_counter()
        yield
        self.summary.facts[f"{name}_seconds"] = round(time.perf_counter() - started, 1)

    # --- the site -----------------------------------------------------------------------------

    def _send(self, scenario: Scenario) -> None:
        """Everything the phones and the office wrote, in the order it was sent."""
        self.say("Sending what the phones wrote")
        found: Counter[Outcome] = Counter()
        bundles: list[tuple[Sequence[ev.Event], dict[str, bytes]]] = [
            (scenario.office_events, {}),
            *((batch.events, batch.photos) for batch in scenario.batches),
        ]
        for events, photos in bundles:
            self.clock.to(max(_when(event) for event in events) if events else scenario.now)
            for at in range(0, len(events), BATCH):
                part = [event.model_dump(mode="json") for event in events[at : at + BATCH]]
                found.update(one.outcome for one in self.here.log.append(part).receipts)
            for digest, data in photos.items():
                self.here.keep_photo(digest, data)
        facts = self.summary.facts
        facts["events"] = sum(found.values())
        facts["events_stored"] = found[Outcome.STORED]
        facts["events_refused"] = found[Outcome.REFUSED]
        facts["photos"] = len(scenario.photos)
        self.summary.lines.append(
            f"{facts['events_stored']} of {facts['events']} events stored "
            f"({facts['events_refused']} refused), {facts['photos']} photos"
        )

    def _triage(self) -> None:
        self.say("Triage")
        with self.here.database.read() as session:
            items = reading.items(session, EVERYTHING)
            losses = {one.loss: one for one in reading.losses(session, EVERYTHING)}
            book = reading.facility(session)
        now = self.here.now()
        bands = Counter(
            triage_of(item, losses.get(item.loss or ""), now, (), book, known=self.here.facts).band
            for item in items
        )
        facts = self.summary.facts
        facts["items"] = len(items)
        facts["materials"] = len({material for item in items for material in item.materials})
        facts["conflicts"] = sum(1 for item in items if item.conflicts)
        facts["bands"] = {band.value: bands[band] for band in Band}
        self.summary.lines += [
            f"{len(items)} pieces and parts in {facts['materials']} materials on "
            f"{len(losses)} losses; {facts['conflicts']} with conflicts to settle",
            "move: " + ", ".join(f"{bands[band]} {band.label.lower()}" for band in Band),
        ]

    def _conservator(self) -> None:
        """The invented conservator lets the gas programmes be used on hard goods, by name."""
        with self.here.database.read() as session:
            book = reading.facility(session)
            items = [one for one in reading.items(session, EVERYTHING) if one.received_at]
        gas = [one for one in book.newest_programmes() if one.needs_licence]
        hard = [one for one in items if set(one.materials) <= HARD_GOODS]
        for programme in gas:
            tags = tuple(
                one.tag
                for one in hard
                if set(programme.targets)
                & chamber_targets([seen.damage for seen in one.damages], known=self.here.facts)
                and programme.agent not in {override.agent for override in one.overrides}
            )
            if not tags:
                continue
            body = ev.OverrideSigned(
                override=f"hard-goods-{programme.id}",
                tags=tags,
                agent=programme.agent,
                materials=tuple(sorted(HARD_GOODS)),
                reason="looked at one by one: no organic colours, no old mends",
                signed_by=CONSERVATOR,
                expires=(self.here.now() + timedelta(days=90)).date(),
            )
            self._say(body, role=Role.CONSERVATOR, actor=CONSERVATOR)
            self.summary.lines.append(
                f"{CONSERVATOR} allowed {programme.agent.label.lower()} on {len(tags)} hard pieces"
            )

    # --- the plan -----------------------------------------------------------------------------

    def _plan_facts(self, made: Draft) -> None:
        plan, problem = made.plan, made.planning.problem
        late = sum(
            1
            for item in problem.items
            for step in item.steps
            if step.start_by_min is not None
            and any(
                one.start > step.start_by_min
                for one in plan.placements
                if (one.item, one.step) == (item.id, step.id)
            )
        )
        frozen = sum(1 for one in plan.placements if one.step == StepKind.FREEZE.value)
        last = problem.epoch + timedelta(minutes=max(one.end for one in plan.placements))
        self.summary.facts["plan"] = {
            "items": len(problem.items),
            "left_out": len(made.planning.left_out),
            "objective": plan.objective,
            "bound": plan.bound,
            "gap": plan.gap,
            "runs": len(plan.runs),
            "start_after_deadline": late,
            "late_items": plan.amounts.late_items,
            "held_frozen": frozen,
            "last_step_ends": last.isoformat(),
            "seconds": plan.seconds,
        }
        self.summary.lines += [
            f"plan for {len(problem.items)} pieces: {len(plan.runs)} chamber runs, "
            f"cost {plan.objective:,}, none below {plan.bound:,}, gap {plan.gap:.1%}, checked",
            f"{late} pieces start after their deadline, {frozen} of them or others are held "
            f"frozen first, {plan.amounts.late_items} are back after the promised day; "
            f"the last step ends {last:%d %b %Y}",
        ]
        if made.planning.left_out:
            self.summary.lines.append(
                f"{len(made.planning.left_out)} steps wait on a person: "
                f"{made.planning.left_out[0].why}"
            )

    # --- two runs -----------------------------------------------------------------------------

    def _run_two(self, made: Draft) -> list[str]:
        """The first planned run of two programmes, from loading to unloading."""
        plan, problem = made.plan, made.planning.problem
        with self.here.database.read() as session:
            book = reading.facility(session)
        chosen: dict[str, PlannedRun] = {}
        for run in sorted(plan.runs, key=lambda one: one.start):
            chosen.setdefault(run.programme, run)
        by_gas = sorted(
            chosen.values(),
            key=lambda one: (not _programme(book, one.programme).needs_licence, one.start),
        )
        two = sorted(by_gas[:2], key=lambda one: one.start)
        if len(two) < 2:
            raise DemoError("the plan has fewer than two kinds of run")
        self._in_turn([self._one_run(run, problem, plan, book) for run in two])
        return [run.id for run in two]

    def _in_turn(self, courses: Sequence[Iterator[datetime]]) -> None:
        """Let several courses of events happen together; each yields the moment it goes on at.

        Two chambers run at once, and what is read in one is not to come in late for the other.
        """
        waiting = [(next(course), number, course) for number, course in enumerate(courses)]
        heapify(waiting)
        while waiting:
            moment, number, course = waiting[0]
            self.clock.to(moment)
            following = next(course, None)
            if following is None:
                heappop(waiting)
            else:
                heapreplace(waiting, (following, number, course))

    def _one_run(
        self, planned: PlannedRun, problem: Problem, plan: Plan, book: FacilityBook
    ) -> Iterator[datetime]:
        programme, chamber = _programme(book, planned.programme), book.chamber(planned.station)
        if chamber is None:
            raise DemoError(f"chamber {planned.station} is not on file")
        yield from self._work_before(planned, problem, plan)
        starts = problem.epoch + timedelta(minutes=planned.start)
        yield starts
        run_id = planned.id
        self.say(f"Chamber run {run_id}")
        self._say(
            ev.RunOpened(
                run=run_id,
                station=planned.station,
                programme=programme.id,
                version=programme.version,
                tags=planned.items,
            )
        )
        self._say(ev.PhaseEntered(run=run_id, phase=Phase.LOADING, at=starts))
        self._say_all(
            [ev.ItemLoaded(run=run_id, tag=tag, station=chamber.id) for tag in planned.items]
        )
        sealed = starts + timedelta(minutes=20)
        yield sealed
        self._say(ev.PhaseEntered(run=run_id, phase=Phase.SEALED, at=sealed))
        if programme.needs_licence:
            checks = tuple(self.here.facts.dosing_checks)
            self._say(
                ev.DosingChecked(run=run_id, checks=checks, at=sealed),
                role=Role.FUMIGATOR,
                actor=programme.signed_by,
            )
        yield from self._readings(run_id, programme, chamber.id, sealed, book)

    def _readings(
        self,
        run_id: str,
        programme: Programme,
        chamber_id: str,
        sealed: datetime,
        book: FacilityBook,
    ) -> Iterator[datetime]:
        chamber = book.chamber(chamber_id)
        if chamber is None:
            raise DemoError(f"chamber {chamber_id} is not on file")
        simulated = simulate_run(run_id, programme, chamber, sealed)
        refused = 0
        done = 0
        for check in simulated.checks:
            until = simulated.until(check)
            for moment, together in groupby(until[done:], key=lambda entry: entry.at):
                yield moment
                self._say_all([entry.body for entry in together], role=Role.FUMIGATOR)
            done = len(until)
            yield check
            refused += not self._try_to_open(run_id, programme, book)
        with self.here.database.read() as session:
            run = reading.run(session, run_id)
        if run is None or run.opened_at is None:
            raise DemoError(f"run {run_id} was never cleared")
        at = self.here.now()
        began = run.began(Phase.LOADING) or at
        airing = next(
            one.id
            for one in (book.facility.stations if book.facility else ())
            if isinstance(one, Room) and StepKind.AIR in one.serves
        )
        for tag in run.tags:
            self._say(ev.StepDone(tag=tag, step=StepKind.CHAMBER, started_at=began, ended_at=at))
            self._say(ev.ItemMoved(tag=tag, station=airing))
        self._say(ev.PhaseEntered(run=run_id, phase=Phase.UNLOADED, at=at))
        kind = f"{len(run.gas)} gas readings" if run.gas else "no gas"
        self.summary.lines.append(
            f"run {run_id}: {programme.label} in {chamber.label}, {len(run.tags)} pieces, {kind}; "
            f"opening refused {refused} time(s) before it was cleared"
        )
        self.summary.facts.setdefault("runs", []).append(
            {
                "run": run_id,
                "programme": programme.id,
                "pieces": len(run.tags),
                "gas_readings": len(run.gas),
                "openings_refused": refused,
                "opened_at": run.opened_at.isoformat(),
            }
        )

    def _try_to_open(self, run_id: str, programme: Programme, book: FacilityBook) -> bool:
        """Two people sign what they see and one tries the door."""
        now = self.here.now()
        with self.here.database.read() as session:
            hand = in_hand(session, run_id, now, self.here.facts)
        if hand is None:
            raise DemoError(f"run {run_id} is not on record")
        readings = hand.clearance.readings or "0" * 64
        if programme.clearance is not None and hand.clearance.readings is not None:
            licensed = next(
                person
                for person in (book.facility.licensed if book.facility else ())
                if person.licence_no == programme.licence_no
            )
            self._say(
                ev.ClearanceSigned(
                    run=run_id,
                    signer=licensed.name,
                    licence_no=licensed.licence_no,
                    readings=readings,
                    seen_to=hand.clearance.seen_to,
                ),
                role=Role.FUMIGATOR,
                actor=licensed.name,
            )
            self._say(
                ev.ClearanceSigned(
                    run=run_id, signer=LEAD, readings=readings, seen_to=hand.clearance.seen_to
                ),
                actor=LEAD,
            )
        try:
            self._say(ev.ChamberOpened(run=run_id, readings=readings, at=now), role=Role.FUMIGATOR)
        except RefusedError:
            return False
        self._say(ev.PhaseEntered(run=run_id, phase=Phase.CLEARED, at=now))
        return True

    def _work_before(self, planned: PlannedRun, problem: Problem, plan: Plan) -> Iterator[datetime]:
        """The handwork and drying that the plan puts before this run."""
        wanted = set(planned.items)
        places = {(one.item, one.step): one for one in plan.placements}
        done: list[tuple[datetime, ev.StepDone]] = []
        for item in problem.items:
            if item.id not in wanted:
                continue
            spans: dict[StepKind, tuple[datetime, datetime]] = {}
            for step in item.steps:
                if step.kind == "batch":
                    break
                kind = StepKind(step.id.partition("-")[0])
                place = places[item.id, step.id]
                begins = problem.epoch + timedelta(minutes=place.start)
                ends = problem.epoch + timedelta(minutes=place.end)
                first = spans.get(kind, (begins, ends))[0]
                spans[kind] = (first, ends)
            for kind, (begins, ends) in spans.items():
                body = ev.StepDone(tag=item.id, step=kind, started_at=begins, ended_at=ends)
                done.append((ends, body))
        done.sort(key=lambda one: one[0])
        for at in range(0, len(done), BATCH):
            part = done[at : at + BATCH]
            yield part[-1][0]
            self._say_all([body for _, body in part], actor=BENCH)
            self._charge([body for _, body in part])

    def _charge(self, done: Sequence[ev.StepDone]) -> None:
        """What the invented rates ask for finished steps."""
        with self.here.database.read() as session:
            losses = {one.loss: one for one in reading.losses(session, EVERYTHING)}
            items = {one.tag: one for one in reading.items(session, EVERYTHING)}
        charges = []
        for one in done:
            unit, rate = RATES[one.step]
            hours = Decimal(round((one.ended_at - one.started_at).total_seconds())) / 3600
            quantity = max(hours.quantize(Decimal("0.25")), Decimal("0.25"))
            loss = losses[items[one.tag].loss or ""]
            charges.append(
                ev.ChargeAdded(
                    tag=one.tag,
                    charge=f"{one.tag}-{one.step.value}",
                    what=one.step.label,
                    step=one.step,
                    quantity=f"{quantity if unit == HOUR else 1}",
                    unit=unit,
                    rate=ev.Money(amount=f"{rate:f}", currency=loss.claims[0].currency),
                )
            )
        self._say_all(charges, role=Role.OFFICE, actor=LEAD)

    def _say(self, body: BaseModel, *, role: Role = Role.LEAD, actor: str = LEAD) -> None:
        self._say_all([body], role=role, actor=actor)

    def _say_all(
        self, bodies: Sequence[BaseModel], *, role: Role = Role.LEAD, actor: str = LEAD
    ) -> None:
        self.here.log.say_all(bodies, actor=actor, role=role)

    # --- documents ----------------------------------------------------------------------------

    def _write(self, scenario: Scenario, made: Draft, runs: list[str]) -> None:
        self.say("Writing documents")
        out = self.summary.out
        loss = scenario.losses[0]
        write_tag_sheets(
            out / "tags.pdf", new_tags(48), layout_named("a4-3x8"), self.here.settings.base_url
        )
        (out / "problem.json").write_text(
            made.planning.problem.model_dump_json(indent=1), encoding="utf-8"
        )
        (out / "plan.json").write_text(made.plan.model_dump_json(indent=1), encoding="utf-8")
        self._write_run_sheets(made, runs)
        document = inventory_from(self.here, EVERYTHING, loss, prepared_by=LEAD, notice=NOTICE)
        for form in InventoryFormat:
            with (out / f"inventory.{form.value}").open("wb") as target:
                write_inventory(document, form, target, self.here.photos)
        self._write_manifest(loss)
        with self.here.database.read() as session:
            write_bundle(
                session,
                self.here.log.signer,
                loss,
                ev.utc_text(self.here.now()),
                out / "custody.zip",
            )
        report = verify_bundle(out / "custody.zip", self.here.log.signer.verifier.text)
        if not report.intact:
            raise DemoError(f"the custody bundle does not hold: {report.faults[0]}")
        self.summary.facts["custody_events"] = report.facts.leaves
        self.summary.lines += [
            f"custody of {loss}: {report.facts.leaves} events, {report.facts.checkpoints} "
            f"checkpoints, {report.facility_proved} facility events proved",
            f"written to {out}: tags.pdf, manifest.pdf, problem.json, plan.json, run-sheets.pdf, "
            "inventory.pdf, .xlsx, .csv, .json, custody.zip",
        ]

    def _write_manifest(self, loss_id: str) -> None:
        with self.here.database.read() as session:
            first = next(
                one for one in reading.manifests(session, EVERYTHING) if one.loss == loss_id
            )
        write_manifest(self.here, first.manifest, self.summary.out / "manifest.pdf", notice=NOTICE)

    def _write_run_sheets(self, made: Draft, runs: list[str]) -> None:
        problem, plan = made.planning.problem, made.plan
        ordered = sorted(plan.runs, key=lambda one: (one.id not in runs, one.start))[:6]
        with self.here.database.read() as session:
            book = reading.facility(session)
            sheets = []
            for planned in ordered:
                chamber = book.chamber(planned.station)
                if chamber is None:
                    continue
                programme = _programme(book, planned.programme)
                paper = RunPaper(
                    title=f"{planned.id}: {programme.label}",
                    chamber=chamber,
                    programme=programme,
                    tags=planned.items,
                    times=planned_times(problem, planned),
                )
                sheets.append(run_sheet(session, paper, book, problem.epoch, self.here.facts))
        write_run_sheets(self.summary.out / "run-sheets.pdf", sheets, title=f"Run sheets. {NOTICE}")


def _when(event: ev.Event) -> datetime:
    return datetime.fromisoformat(event.device_time)


def _programme(book: FacilityBook, programme_id: str) -> Programme:
    programme = book.programme(programme_id)
    if programme is None:
        raise DemoError(f"programme {programme_id} is not on file")
    return programme
