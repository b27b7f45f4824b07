"""Every state that a run can be brought into, looked at one by one.

The search walks the states that an abstraction tells apart, breadth first, from a run that is only
planned. Each is acted out as a story, and three answers are held against each other: what the
abstraction knows of the state, what the oracle says of the story, and what the interlock says of
the records. The abstraction shares no code with either; what phase may follow what is the
service's own table.

Not walked, because the first alone keeps the chamber shut: two lasting faults at once, and a third
name. By what something was spoilt or a signature fell is told apart, so that each is acted out.
"""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from service.facility.runs import NEXT_PHASES
from shared.clearance import clearance
from shared.vocabulary import Phase, Role
from tests.shared.interlock_oracle import (
    ADA,
    DAY,
    FAY,
    METER,
    Dosed,
    Entered,
    Fact,
    Held,
    Read,
    Story,
    acted_out,
    may_open,
    passing,
    programme,
    rule,
    setting,
    signed,
)

RULE = rule(fresh_s=600)
NEAR, FAR = timedelta(minutes=9), timedelta(minutes=61)
"""Within the time that a reading counts; and beyond it, so far that two passes are apart."""
LEVELS = {"usual": "0.4", "higher": "0.6"}
OTHER_METER = replace(METER, meter="n")
PEOPLE = {"fay": FAY, "ada": ADA, "fay again": ("FAY  gas", "other", Role.LEAD, "")}
SPOILT = (
    "over",
    "no unit",
    "no number",
    "ahead",
    "no zone",
    "unknown meter",
    "meters contradict",
    "meter contradicts itself",
    "little oxygen",
    "oxygen contradicts",
)
"""What since the closed hold nothing but another closed hold mends."""
ODD = ("late", "out of order", "higher in one zone")
"""What voids a signature and is no fault by itself."""


@dataclass(frozen=True)
class Seen:
    """What tells one state from another.

    Attributes:
        begun: by what all that was measured before counts no more.
        held: whether there was a closed hold since.
        passes: passes since the hold, counted to two that are far enough apart.
        fresh: the levels of the readings that are fresh now, oldest first; at most two.
        spoilt: what happened since the hold that must not.
        meter: whether the meter is in calibration, and whether it was always.
        signed: who signed, and up to which level the names stand.
        fell: by what the last names fell.
        back: whether the service's clock was put back.
    """

    phase: Phase = Phase.PLANNED
    begun: str = ""
    held: bool = False
    passes: int = 0
    fresh: tuple[str, ...] = ()
    spoilt: str | None = None
    meter: str = "ok"
    signed: frozenset[tuple[str, str]] = frozenset()
    fell: str | None = None
    back: bool = False
    opened: bool = False

    @property
    def in_order(self) -> bool:
        """Whether all that has to be measured is, and is as it must be."""
        return (
            self.phase is Phase.AIRING
            and self.held
            and self.passes == 2
            and bool(self.fresh)
            and self.spoilt is None
            and self.meter != "expired"
            and not self.back
        )

    @property
    def may_open(self) -> bool:
        """Whether every condition holds."""
        who = {name for name, _ in self.signed}
        return self.in_order and "ada" in who and "fay" in who

    def without_names(self, why: str) -> "Seen":
        """The same, but no name stands."""
        return replace(self, signed=frozenset(), fell=why if self.signed else self.fell)


@dataclass(frozen=True)
class Step:
    """What happens next: its name, the state after it, and what is said of it."""

    name: str
    after: Seen
    facts: tuple[Fact, ...] = ()
    passes: timedelta = timedelta(0)
    people: tuple[str, ...] = ()


def steps(seen: Seen, now: datetime) -> Iterator[Step]:
    """Everything that may happen next."""
    if seen.opened:
        return
    if seen.may_open:
        yield Step("open", replace(seen, opened=True))
    if not seen.back:
        yield from _acts(seen, now + timedelta(minutes=1))
    if seen.phase is Phase.AIRING and not seen.back:
        yield from _holds(seen, now)
    if seen.held and not seen.back:
        yield from _measures(seen, now)
        yield from _names(seen)


def _acts(seen: Seen, now: datetime) -> Iterator[Step]:
    minute = timedelta(minutes=1)
    for phase in NEXT_PHASES[seen.phase]:
        if phase is not Phase.CLEARED:
            after = Seen(phase, meter=seen.meter)
            yield Step(f"enter {phase.value}", after, (Entered(phase, now),), minute)
    if seen.phase is Phase.AIRING and seen.spoilt is None:
        for name, at in (("dose", now), ("dose dated back", DAY)):
            after = Seen(seen.phase, name, meter=seen.meter)
            yield Step(name, after, (Dosed(at, now),), minute)
        until = now - minute if seen.meter != "expired" else METER.until + (now - DAY)
        after = replace(
            seen.without_names("meter"), meter="renewed" if seen.meter == "expired" else "expired"
        )
        yield Step("meter", after, (replace(METER, until=until),))


def _holds(seen: Seen, now: datetime) -> Iterator[Step]:
    starts = now + timedelta(minutes=1)
    for name, hours in (("hold", 2), ("short hold", 1)):
        ends = starts + timedelta(hours=hours)
        held = name == "hold"
        if held:
            after = Seen(seen.phase, held=True, meter=seen.meter)
        elif seen.held:
            after = replace(seen.without_names("a short hold"), fresh=())
        else:
            after = replace(seen, begun="short hold")
        yield Step(name, after, (Held(starts, ends),), ends - now)


def _measures(seen: Seen, now: datetime) -> Iterator[Step]:
    far = now + FAR
    yield Step(
        "an hour later",
        replace(seen.without_names("silence"), passes=min(2, seen.passes + 1), fresh=("usual",)),
        _read(far, "0.4"),
        FAR,
    )
    if not seen.fresh:
        if not seen.passes:
            yield Step(
                "first pass", replace(seen, passes=1, fresh=("usual",)), _read(now + NEAR), NEAR
            )
        return
    yield Step("wait", replace(seen, fresh=()), (), FAR)
    if seen.spoilt is not None:
        return
    yield Step("clock back", replace(seen, back=True), (), -timedelta(minutes=20))
    near = now + NEAR
    for level, text in LEVELS.items():
        standing = {(who, top) for who, top in seen.signed if (top, level) != ("usual", "higher")}
        after = replace(
            seen,
            fresh=(*seen.fresh[-1:], level),
            signed=frozenset(standing),
            fell="higher" if len(standing) < len(seen.signed) else seen.fell,
        )
        yield Step(level, after, _read(near, text), NEAR)
    if seen.fell is None:
        for what in SPOILT:
            after = replace(
                seen.without_names("spoilt"), fresh=(*seen.fresh[-1:], "usual"), spoilt=what
            )
            yield Step(what, after, _spoilt(what, near), NEAR)
    if seen.signed and seen.fell is None:
        for what in ODD:
            if what == "higher in one zone" and any(top == "higher" for _, top in seen.signed):
                continue
            yield Step(
                what,
                replace(seen.without_names(what), fresh=(*seen.fresh[-1:], "usual")),
                _odd(what, near),
                NEAR,
            )


def _names(seen: Seen) -> Iterator[Step]:
    if seen.in_order:
        top = "higher" if "higher" in seen.fresh else "usual"
        for who in PEOPLE:
            if len(seen.signed) < 2 and all(who != one for one, _ in seen.signed):
                after = replace(seen, signed=seen.signed | {(who, top)})
                yield Step(f"sign {who}", after, people=(who,))
    elif seen.passes and seen.fell is None:
        yield Step("sign too early", replace(seen, fell="early"), people=("fay", "ada"))


def _read(now: datetime, text: str = "0.4") -> tuple[Fact, ...]:
    return passing(now, text)


def _spoilt(what: str, now: datetime) -> tuple[Fact, ...]:
    gas, air = (Read(kind, "high", "0.4", now, now) for kind in ("gas", "oxygen"))
    more: dict[str, tuple[Fact, ...]] = {
        "over": (replace(gas, text="1.001"),),
        "no unit": (replace(gas, unit=""),),
        "no number": (replace(gas, text="NaN"),),
        "ahead": (replace(gas, taken=now + timedelta(seconds=121)),),
        "no zone": (replace(gas, zone="middle"),),
        "unknown meter": (replace(gas, meter="m9"),),
        "meters contradict": (OTHER_METER, replace(gas, text="0.91", meter="n")),
        "meter contradicts itself": (replace(gas, text="0.39"),),
        "little oxygen": (replace(air, text="19.4"),),
        "oxygen contradicts": (replace(air, text="19.8"),),
    }
    return (*_read(now), *more[what])


def _odd(what: str, now: datetime) -> tuple[Fact, ...]:
    gas = Read("gas", "high", "0.4", now, now)
    more = {
        "late": replace(gas, taken=now - timedelta(seconds=600)),
        "out of order": replace(gas, taken=now - timedelta(seconds=121)),
        "higher in one zone": replace(gas, taken=now - timedelta(seconds=1), text="0.401"),
    }
    return (*_read(now), more[what])


@dataclass(frozen=True)
class Found:
    """What a search saw: how many states, how many of them open, and the first that is wrong."""

    states: int
    opened: int
    wrong: str | None


def search() -> Found:
    """Walk every state; stop at the first in which the three answers are not one."""
    first = Seen()
    known = {first}
    waiting: deque[tuple[Seen, Story, datetime, tuple[str, ...]]] = deque()
    waiting.append((first, Story((METER,), RULE), DAY, ("planned",)))
    opened = 0
    while waiting:
        seen, story, now, path = waiting.popleft()
        run, known_here = acted_out(story), setting(story, now)
        answer = clearance(run, programme(RULE), known_here)
        answers = (seen.may_open, may_open(story, now) if run.phases else False, answer.may_open)
        opened += seen.opened
        if len(set(answers)) > 1:
            wrong = f"{' → '.join(path)}: {answers}, {answer.reasons} {answer.voided}; {seen}"
            return Found(len(known), opened, wrong)
        for step in steps(seen, now):
            if step.after not in known:
                known.add(step.after)
                told = story.then(*step.facts)
                if step.people:
                    told = signed(told, *(PEOPLE[who] for who in step.people))
                waiting.append((step.after, told, now + step.passes, (*path, step.name)))
    return Found(len(known), opened, None)
