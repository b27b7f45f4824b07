"""The decision table of 22 cases, told as stories.

What a case leaves to policy (a reading equal to the limit, a unit that has to be converted) is
asked both ways.
"""

import json
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

from shared.clearance import clearance
from shared.vocabulary import Phase, Role
from tests.shared.interlock_oracle import (
    METER,
    Dosed,
    Entered,
    Held,
    Read,
    Signed,
    Story,
    acted_out,
    airing,
    at,
    may_open,
    passing,
    programme,
    rule,
    setting,
)

TABLE = json.loads(
    (Path(__file__).parents[1] / "published/vectors/derived_interlock_cases.json").read_text()
)
NOW = at("18:00")
PHASES = {"AERATING": Phase.AIRING, "DOSING": Phase.DOSING}
AT_THE_SERVICE = {"clearance given offline", "database error during check"}
"""Cases about the service around the interlock; ``tests/service/facility`` acts them out."""
PEOPLE = {
    "p": ("Pat", "p", Role.FUMIGATOR, "L-1"),
    "q": ("Quin", "q", Role.LEAD, ""),
}


def story_of(case: dict[str, Any], compare: str, celsius: str = "25") -> tuple[Story, datetime]:
    """A case as a story, and the moment at which somebody is at the door."""
    said = case["input"]
    of = rule(
        limit_ppm=Decimal(TABLE["config"]["limit_ppm"]),
        fresh_s=TABLE["config"]["ttl_s"],
        compare=compare,
    )
    story = airing(of).then(Held(at("10:00"), at("13:00")))
    if said is None:
        return story, NOW
    if not said["instrument_cal_valid"]:
        story = replace(story, facts=(replace(METER, until=at("17:00")), *story.facts[1:]))
    story = story.then(*passing("14:30"), *passing("16:00"))
    if said["signed_reading"] == "earlier":
        story = _signed(story, said["signers"])
    taken = NOW - timedelta(seconds=said["age_s"])
    story = story.then(
        *_read(said["zones"], said["unit"], taken, min(taken, NOW), celsius),
        *(one for one in passing(min(taken, NOW)) if one.kind == "oxygen"),
    )
    if PHASES[said["phase"]] is not Phase.AIRING:
        story = story.then(Entered(PHASES[said["phase"]], at("14:00")))
    if not said["after_last_dose"]:
        story = story.then(Dosed(NOW - timedelta(seconds=30), NOW - timedelta(seconds=30)))
    if said["signed_reading"] == "this":
        story = _signed(story, said["signers"])
    if "newer" in said:
        newer = NOW - timedelta(seconds=said["newer"]["age_s"])
        story = story.then(*_read(said["newer"]["zones"], "ppm", newer, NOW, celsius))
    now = NOW + timedelta(seconds=said.get("server_clock_step_s", 0))
    return story, now.astimezone(timezone(timedelta(hours=1))) if said.get("tz_shift") else now


def _signed(story: Story, signers: list[str]) -> Story:
    looked = len(story.facts)
    return story.then(*(Signed(*PEOPLE[name], looked) for name in signers))


def _read(
    zones: dict[str, object], unit: str | None, taken: datetime, had: datetime, celsius: str
) -> list[Read]:
    return [
        Read("gas", zone, str(value), taken, had, unit=unit or "", temperature_c=celsius)
        for zone, value in zones.items()
    ]


def opens(case: dict[str, Any], compare: str, celsius: str = "25") -> bool:
    """Whether the chamber may be opened in this case; the oracle has to agree."""
    story, now = story_of(case, compare, celsius)
    found = clearance(acted_out(story), programme(story.rule), setting(story, now)).may_open
    assert may_open(story, now) is found
    return found


def expected(case: dict[str, Any], compare: str) -> bool:
    """What the table answers, by the label's wording where that decides."""
    answer: str = case["expect"]
    if answer.startswith("POLICY"):
        return compare == "at_most"
    return answer.startswith(("CLEAR", "unchanged"))
