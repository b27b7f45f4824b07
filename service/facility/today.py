"""What waits today: on the lead, on a named person, on a truck, and what harm waiting does.

Triage of every piece is too slow to be done afresh for each view, so what was said of a piece is
used again while its record, its loss and the facility's book are the same, and for no longer than
a fiftieth of the time it has left. Hours left are always worked out from the deadline.
"""

import hashlib
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import IntEnum

from sqlmodel import Session

from scheduler.plan import Plan
from scheduler.problem import Problem
from service.assessing import choose_programme, remaining_steps, triage_of
from service.facility.planning import why_none
from service.facility.plans import timed
from service.facility.runs import RunInHand
from service.facility.studio import AtBench, at_bench
from service.log import reading
from service.log.reading import EVERYTHING
from shared.clearance import State
from shared.facts import Facts, Gate
from shared.programmes import SOON_D
from shared.records import FacilityBook, Item, Loss, Manifest
from shared.vocabulary import Band, Phase, Role, StepKind

LONGEST_REUSE = timedelta(hours=1)
SHORTEST_REUSE = timedelta(minutes=1)
SHARE_OF_TIME_LEFT = 1 / 50
NEAR = timedelta(hours=24)
TIGHT = timedelta(hours=6)
SILENT_PHONE = timedelta(hours=24)
FAR = datetime(9999, 1, 1, tzinfo=UTC)


class Waiting(IntEnum):
    """What waiting harms, the worst first."""

    PEOPLE = 0
    PIECE = 1
    WORK = 2
    RECORD = 3


@dataclass(frozen=True)
class Matter:
    """One line of today: what, why, until when, who, and one link to do it.

    ``until`` is when waiting starts to do harm; ``None`` when nobody can say.
    """

    waiting: Waiting
    what: str
    why: str
    who: str
    href: str
    act: str
    until: datetime | None = None
    score: float = 0.0

    @property
    def order(self) -> tuple[int, datetime, float, str]:
        """Sorts matters by the harm of waiting."""
        return (self.waiting, self.until or FAR, -self.score, self.what)

    def left(self, now: datetime) -> str:
        """How long until ``until``, in words."""
        if self.until is None:
            return ""
        hours = (self.until - now).total_seconds() / 3600
        size = abs(hours)
        told = f"{size * 60:.0f} min" if size < 1 else f"{size:.0f} h"
        told = f"{size / 24:.0f} days" if size >= 72 else told
        return f"{told} left" if hours >= 0 else f"{told} past"


@dataclass(frozen=True)
class Standing:
    """What today's page has to know of one piece that is at the facility."""

    tag: str
    title: str
    loss: str | None
    claim: str | None
    station: str | None
    band: Band
    deadline: datetime | None
    score: float
    first: str
    remaining: tuple[StepKind, ...]
    done: frozenset[StepKind]
    conservator: str
    no_programme: str
    unsettled: tuple[str, ...]
    arrived_as: str
    weighed: bool
    decided: bool
    studio: AtBench | None

    @property
    def href(self) -> str:
        """Its page."""
        return f"/facility/items/{self.tag}"


def standing_of(
    item: Item, loss: Loss | None, book: FacilityBook, now: datetime, known: Facts
) -> Standing:
    """What is to be known of a piece at ``now``."""
    triage = triage_of(item, loss, now, (), book, known=known)
    remaining = tuple(remaining_steps(item, known))
    why = ""
    if StepKind.CHAMBER in remaining and item.run is None:
        programme, rulings = choose_programme(item, [], book, now, known=known)
        why = "" if programme else why_none(rulings)
    gate = next((one for one in triage.gates if one.gate is Gate.CONSERVATOR_ONLY), None)
    return Standing(
        tag=item.tag,
        title=item.title or item.object_type.label,
        loss=item.loss,
        claim=item.claim,
        station=item.station,
        band=triage.band,
        # While a piece is frozen its deadline moves on with the clock: nothing draws near.
        deadline=None if triage.paused else triage.deadline,
        score=triage.score,
        first=next(
            (one.do_first for one in triage.gates if one.do_first),
            triage.route[0] if triage.route else "",
        ),
        remaining=remaining,
        done=frozenset(step.step for step in item.steps),
        conservator=gate.sentence if gate else "",
        no_programme=why,
        unsettled=tuple(one.field for one in item.conflicts),
        arrived_as=item.condition_at_receipt,
        weighed=bool(item.weighings),
        decided=item.decision is not None,
        studio=at_bench(item, remaining, known),
    )


class StandingPieces:
    """What was said of each piece, used again while it still holds."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[bytes, datetime, Standing | None]] = {}

    def now(
        self, session: Session, book: FacilityBook, now: datetime, known: Facts
    ) -> list[Standing]:
        """Every piece that is at the facility, as it stands at ``now``."""
        losses = {one.loss: one for one in reading.losses(session, EVERYTHING)}
        texts = {name: one.model_dump_json() for name, one in losses.items()}
        shared = book.model_dump_json() + known.version
        settings = {
            name: hashlib.sha256((shared + texts.get(name or "", "")).encode()).digest()
            for name in (None, *losses)
        }
        with self._lock:
            kept = self._kept
        fresh: dict[str, tuple[bytes, datetime, Standing | None]] = {}
        for row in reading.item_texts(session):
            setting = settings.get(row.loss, settings[None])
            digest = hashlib.sha256(setting + row.data.encode()).digest()
            entry = kept.get(row.subject)
            if entry is None or entry[0] != digest or now >= entry[1]:
                entry = (digest, *_judged(row.data, losses, book, now, known))
            fresh[row.subject] = entry
        with self._lock:
            self._kept = fresh
        return [said for _, _, said in fresh.values() if said is not None]


def _judged(
    data: str, losses: dict[str, Loss], book: FacilityBook, now: datetime, known: Facts
) -> tuple[datetime, Standing | None]:
    """What is said of a record, and until when it may be used."""
    item = Item.model_validate_json(data)
    if item.received_at is None or item.returned_to is not None:
        return now + LONGEST_REUSE, None
    said = standing_of(item, losses.get(item.loss or ""), book, now, known)
    reuse = LONGEST_REUSE
    if said.deadline is not None and said.deadline > now:
        reuse = (said.deadline - now) * SHARE_OF_TIME_LEFT
    return now + min(max(reuse, SHORTEST_REUSE), LONGEST_REUSE), said


def to_start(pieces: Iterable[Standing]) -> list[Matter]:
    """Pieces that must be worked on now."""
    return _sorted(
        Matter(
            Waiting.PIECE,
            one.title,
            f"{one.first.rstrip('.')}. Next: {one.remaining[0].label.lower()}.",
            "Lead",
            one.href,
            "Open the piece",
            one.deadline,
            one.score,
        )
        for one in pieces
        if one.band is Band.NOW and one.remaining
    )


def near(
    pieces: Iterable[Standing], plan: tuple[Problem, Plan] | None, now: datetime
) -> list[Matter]:
    """Pieces whose deadline is near, or whose planned start leaves little or no slack."""
    slack = _slack(plan) if plan else {}
    found = []
    for one in pieces:
        if not one.remaining or one.band is Band.NOW:
            continue
        planned = slack.get(one.tag)
        if planned is not None and planned.step not in one.done and planned.left < TIGHT:
            hours = abs(planned.left.total_seconds()) / 3600
            told = "after" if planned.left < timedelta(0) else "before"
            why = f"{planned.step.label} is planned {hours:.0f} h {told} its deadline."
            act, href, until = "See the plan", "/facility/plan", planned.deadline
        elif one.deadline is not None and one.deadline - now < NEAR:
            why = f"Next: {one.remaining[0].label.lower()}."
            act, href, until = "Open the piece", one.href, one.deadline
        else:
            continue
        found.append(Matter(Waiting.PIECE, one.title, why, "Lead", href, act, until, one.score))
    return _sorted(found)


@dataclass(frozen=True)
class _Slack:
    """A planned step with a deadline to start by."""

    step: StepKind
    deadline: datetime
    left: timedelta


def _slack(plan: tuple[Problem, Plan]) -> dict[str, _Slack]:
    """The step of each piece that is planned closest to its deadline."""
    problem, made = plan
    starts = {(one.item, one.step): one.start for one in made.placements}
    found: dict[str, _Slack] = {}
    for item in problem.items:
        for step in item.steps:
            start = starts.get((item.id, step.id))
            if start is None or step.start_by_min is None:
                continue
            left = timedelta(minutes=step.start_by_min - start)
            if item.id not in found or left < found[item.id].left:
                found[item.id] = _Slack(
                    StepKind(step.id.partition("-")[0]),
                    problem.epoch + timedelta(minutes=step.start_by_min),
                    left,
                )
    return found


def waits_on_people(
    pieces: Sequence[Standing], losses: Iterable[Loss], stations: dict[str, str]
) -> list[Matter]:
    """Pieces and losses that wait on somebody's word or hand."""
    found: list[Matter] = []
    undecided: Counter[tuple[str, str]] = Counter()
    unweighed: Counter[str] = Counter()
    for one in pieces:
        work, record = Waiting.WORK, Waiting.RECORD
        if one.station is None:
            found.append(_of(one, work, "It has come in and has no place.", "Lead", "Give it one"))
        if one.arrived_as and not one.done:
            why = f"At receipt: {one.arrived_as}"
            found.append(_of(one, work, why, "Lead", "Look at it"))
        if one.conservator and one.remaining:
            found.append(_of(one, work, one.conservator, "Conservator", "Open the piece"))
        elif one.no_programme:
            found.append(_of(one, work, one.no_programme, "Conservator", "Open the piece"))
        for field in one.unsettled:
            why = f"Two or more values for {field.replace('_', ' ')}."
            href = f"/office/conflicts/{one.tag}/{field}"
            found.append(Matter(record, one.title, why, "Office", href, "Settle it"))
        if one.remaining and not one.decided and one.loss:
            undecided[one.loss, one.claim or ""] += 1
        if one.remaining[:1] == (StepKind.DRY,) and not one.weighed and one.station:
            unweighed[one.station] += 1
    for (loss, claim), count in undecided.items():
        what = f"{_count(count)} of claim {claim}" if claim else f"{_count(count)} of {loss}"
        href = f"/adjuster/losses/{loss}"
        why = "No decision is recorded: treat, settle or hold."
        found.append(Matter(Waiting.WORK, what, why, "Adjuster", href, "See the loss"))
    for station, count in unweighed.items():
        what = f"{_count(count)} in {stations.get(station, station)}"
        why = "To be dried and never weighed: nobody can tell how it dries."
        href = f"/facility/items?station={station}"
        found.append(Matter(Waiting.WORK, what, why, "Lead", href, "See the pieces"))
    held = {one.loss for one in pieces}
    for case in losses:
        if case.loss in held and not case.authorisations:
            href = f"/office/losses/{case.loss}/authorisations/new"
            why = "Its pieces are here and nobody's authorisation is on file."
            what = case.title or case.loss
            found.append(Matter(Waiting.WORK, what, why, "Owner, by the office", href, "Record it"))
    return _sorted(found)


def waits_in_studio(pieces: Iterable[Standing]) -> list[Matter]:
    """The next task of each piece in the studio and who has to act; those without a list as one."""
    found: list[Matter] = []
    unlisted = 0
    for one in pieces:
        if one.studio is None or one.remaining[:1] != (StepKind.STUDIO,):
            continue
        if not one.studio.listed:
            unlisted += 1
            continue
        words, who = f"Studio. {one.studio.words}", one.studio.who
        href = f"/facility/studio/{one.tag}"
        found.append(
            Matter(Waiting.WORK, one.title, words, who, href, "See its list", score=one.score)
        )
    if unlisted:
        what, why = (
            _count(unlisted),
            "Studio. No list is signed: what to do, and how long it takes.",
        )
        href = "/facility/studio"
        found.append(Matter(Waiting.WORK, what, why, "Conservator", href, "See the studio"))
    return _sorted(found)


def _of(one: Standing, waiting: Waiting, why: str, who: str, act: str) -> Matter:
    return Matter(waiting, one.title, why, who, one.href, act, one.deadline, one.score)


def _count(number: int) -> str:
    return "1 piece" if number == 1 else f"{number} pieces"


def waits_on_runs(
    hands: Iterable[RunInHand], book: FacilityBook, stations: dict[str, str]
) -> list[Matter]:
    """Runs that wait for readings or a signature before anybody may open the door."""
    licensed = ", ".join(one.name for one in book.facility.licensed) if book.facility else ""
    found = []
    for hand in hands:
        run, state = hand.run, hand.clearance
        if run.phase not in {Phase.AIRING, Phase.ABORTED} or state.state is not State.NOT_CLEARED:
            continue
        signed = {one.role for one in run.signatures if one.signer in state.signed_by}
        who = licensed or "The licensed fumigator"
        if Role.FUMIGATOR in signed:
            who = "Lead: the second signature"
        found.append(
            Matter(
                Waiting.PEOPLE,
                f"{run.run} in {stations.get(run.station, run.station)}",
                "NOT CLEARED. " + (state.reasons[0] if state.reasons else ""),
                who,
                f"/facility/runs/{run.run}",
                "Open the run",
            )
        )
    return _sorted(found)


def runs_out(book: FacilityBook, now: datetime) -> list[Matter]:
    """Programmes, licences and calibrations that have expired or soon will."""
    soon = now + timedelta(days=SOON_D)
    found = []

    def add(what: str, why: str, who: str, href: str, until: datetime) -> None:
        if until <= soon:
            waiting = Waiting.WORK if until <= now else Waiting.RECORD
            found.append(Matter(waiting, what, why, who, href, "See it", until))

    for one in book.newest_programmes():
        why = "A programme that has expired can't be started: have it signed anew."
        end = datetime.combine(one.expires + timedelta(days=1), datetime.min.time(), UTC)
        add(one.label, why, one.signed_by, "/facility/programmes", end)
    for person in book.facility.licensed if book.facility else ():
        why = f"Licence {person.licence_no}: without it nobody signs for it."
        end = datetime.combine(person.expires + timedelta(days=1), datetime.min.time(), UTC)
        add(person.name, why, person.name, "/facility/programmes", end)
    for name in {one.instrument: one for one in book.instruments}:
        meter = book.instrument(name)
        if meter is not None:
            why = "Readings of a meter out of calibration do not clear a chamber."
            until = meter.calibrated_until
            add(f"Meter {name}", why, "Lead", "/facility/runs", until)
    return _sorted(found)


def late_trucks(manifests: Iterable[Manifest], now: datetime) -> list[Matter]:
    """Trucks that should be here, or came without some of what was listed."""
    found = []
    for one in manifests:
        if not one.missing or one.expected_at is None or one.expected_at >= now:
            continue
        why = f"{_count(len(one.missing))} not scanned in. " + (
            one.delays[-1] if one.delays else ""
        )
        found.append(
            Matter(
                Waiting.WORK,
                f"Truck {one.manifest}",
                why.strip(),
                one.vehicle or "The driver",
                f"/facility/receive/{one.manifest}",
                "Receive or ask",
                one.expected_at,
            )
        )
    return _sorted(found)


def silent_phones(session: Session, now: datetime) -> list[Matter]:
    """Phones in use that have sent nothing for a day: they may hold what nobody has seen."""
    heard = reading.last_heard(session)
    found = []
    for one in reading.phones(session):
        last = datetime.fromisoformat(heard.get(one.phone, one.enrolled_at))
        if one.revoked_at is None and now - last > SILENT_PHONE:
            why = f"Nothing sent for {(now - last).total_seconds() / 3600:.0f} h; it may hold data."
            what = one.name or one.phone
            who = one.holder or "Its holder"
            found.append(Matter(Waiting.RECORD, what, why, who, "/office/phones", "See phones"))
    return _sorted(found)


@dataclass(frozen=True)
class Soon:
    """A group of pieces whose next planned step starts within a day, at one place."""

    starts: datetime
    step: str
    station: str | None
    run: str | None
    tags: list[str]


def soon(plan: tuple[Problem, Plan], now: datetime, done: Callable[[str, str], bool]) -> list[Soon]:
    """What the plan starts within a day and ``done`` (of a tag and a step) does not hold of."""
    groups: defaultdict[tuple[datetime, str, str | None, str | None], list[str]] = defaultdict(list)
    for one in timed(*plan):
        kind = one.placement.step.partition("-")[0]
        if not now - timedelta(hours=1) <= one.starts < now + NEAR:
            continue
        if not done(one.placement.item, kind):
            key = (one.starts, kind, one.placement.station, one.placement.run)
            groups[key].append(one.placement.item)
    return [Soon(*key, tags) for key, tags in sorted(groups.items(), key=lambda one: one[0][0])]


def _sorted(found: Iterable[Matter]) -> list[Matter]:
    return sorted(found, key=lambda one: one.order)
