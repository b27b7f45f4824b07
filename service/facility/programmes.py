"""What must be true of a programme before a licensed person's signature under it is recorded."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from shared.facility import Facility
from shared.facts import Facts, Serves
from shared.programmes import Programme
from shared.vocabulary import Agent, Material, Permission

Fault = tuple[str, str]
"""A field and a sentence: what is wrong with it, and what to do now."""


def denied_materials(agent: Agent, known: Facts) -> list[Material]:
    """What the tables never let this agent touch, whoever signs, in the order people see it."""
    return [
        material
        for material in Material
        if (denial := known.denials.get((agent, material, None))) is not None
        and denial.permission is Permission.NO
    ]


def missing_exclusions(programme: Programme, known: Facts) -> list[Fault]:
    """What the programme's own list must exclude and does not."""
    missing = [
        one for one in denied_materials(programme.agent, known) if one not in programme.exclusions
    ]
    if not missing:
        return []
    names = ", ".join(material.label.lower() for material in missing)
    return [("exclusions", f"{programme.agent.label} is never for: {names}; exclude them by name")]


def faults_in(
    programme: Programme, facility: Facility | None, day: date, known: Facts
) -> list[Fault]:
    """Why ``programme`` can't be signed on ``day``; empty when it can."""
    return [
        *_unserved(programme, known),
        *_out_of_date(programme, day),
        *_unlicensed(programme, facility, day),
    ]


def _unserved(programme: Programme, known: Facts) -> Iterable[Fault]:
    for target in programme.targets:
        row = known.agent_targets[programme.agent, target]
        if row.serves is Serves.NO:
            yield (
                "targets",
                f"{programme.agent.label} does not serve against {target.label.lower()}: "
                f"{row.sentence}; choose another agent or take the target off",
            )


def _out_of_date(programme: Programme, day: date) -> Iterable[Fault]:
    if programme.expires < day:
        yield "expires", f"{programme.expires} is past; give the day it runs until"


def _unlicensed(programme: Programme, facility: Facility | None, day: date) -> Iterable[Fault]:
    if not programme.needs_licence:
        return
    person = facility.licence(programme.licence_no) if facility else None
    if person is None:
        yield (
            "licence_no",
            f"no licensed person here holds {programme.licence_no}; enter the person under Set-up "
            "first",
        )
        return
    if person.expires < day:
        yield "licence_no", f"{person.licence_no} expired on {person.expires}; have it renewed"
    if person.name.casefold() != programme.signed_by.strip().casefold():
        yield "signed_by", f"{person.licence_no} is {person.name}'s, who must sign"
    if person.jurisdiction.casefold() != programme.jurisdiction.strip().casefold():
        yield (
            "jurisdiction",
            f"{person.licence_no} holds in {person.jurisdiction}, not in {programme.jurisdiction}",
        )


def above_published(programme: Programme, known: Facts) -> list[str]:
    """Published limits that the signer's clearance limit exceeds; a warning, never a refusal."""
    rule = programme.clearance
    if rule is None:
        return []
    return [
        f"The limit to open at, {rule.limit_ppm} ppm, is above a published one: {row.value:g} ppm "
        f"({row.kind.value.replace('_', ' ').upper()}). The signer answers for it."
        for (gas, _), row in known.limits.items()
        if gas == rule.gas and row.unit == "ppm" and rule.limit_ppm > Decimal(str(row.value))
    ]
