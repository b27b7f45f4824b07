"""Runs told fact by fact, each at the edge of one condition: on the near side and on the far side.

Each says whether the chamber may be opened. That is written down here by hand, and the oracle has
to agree with it as well as the interlock.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from shared.clearance import Setting
from shared.programmes import Programme
from shared.records import Run
from shared.vocabulary import Phase, Role
from tests.shared.interlock_oracle import (
    ADA,
    FAY,
    GAS,
    METER,
    ZONES,
    Dosed,
    Entered,
    Fact,
    Held,
    Judge,
    Read,
    Registered,
    Signed,
    Story,
    acted_out,
    airing,
    at,
    cleared,
    measured,
    passing,
    programme,
    rule,
    setting,
    signed,
)

SECOND = timedelta(seconds=1)
OPENS, SHUT = True, False


@dataclass(frozen=True)
class Told:
    """A story, the moment at which somebody stands at the door, and whether it may be opened."""

    name: str
    story: Story
    now: datetime
    opens: bool


def _with(*more: Fact) -> Story:
    """The measured run with more facts before anybody signs."""
    return signed(measured().then(*more))


def gas(
    text: str = "0.4",
    taken: str = "13:31",
    had: str | None = None,
    zone: str = "high",
    **facts: object,
) -> Read:
    """One reading of the gas."""
    read = Read("gas", zone, text, at(taken), at(had or taken))
    return replace(read, **facts)  # type: ignore[arg-type]


def air(
    text: str = "20.9", taken: str = "13:31", had: str | None = None, zone: str = "high"
) -> Read:
    """One reading of oxygen."""
    return Read("oxygen", zone, text, at(taken), at(had or taken))


def _last(**changes: object) -> Story:
    """The gas reading of the upper zone in the last pass is another one."""
    story = measured()
    place = next(
        number
        for number, one in enumerate(story.facts)
        if isinstance(one, Read) and (one.kind, one.zone, one.taken) == ("gas", "high", at("13:30"))
    )
    other = replace(story.facts[place], **changes)  # type: ignore[arg-type]
    return signed(replace(story, facts=(*story.facts[:place], other, *story.facts[place + 1 :])))


def _meter(**changes: object) -> Story:
    """The meter is another one, from the beginning."""
    story = measured()
    other = replace(METER, **changes)  # type: ignore[arg-type]
    return signed(replace(story, facts=(other, *story.facts[1:])))


def _held(starts: str, ends: str, **passes: str) -> Story:
    """Another closed hold, and passes at 13:00 and 14:00 unless they are named."""
    first, second = passes.get("first", "13:00"), passes.get("second", "14:00")
    story = airing().then(Held(at(starts), at(ends)), *passing(first), *passing(second))
    return signed(story)


def _people(*people: tuple[str, str, Role, str]) -> Story:
    """Other people sign the measured run."""
    return signed(measured(), *people)


def measuring() -> Iterator[tuple[str, Story, str, bool]]:
    """What has to be measured."""
    yield "all is as it should be", cleared(), "13:32", OPENS
    yield "nothing was read", signed(airing().then(Held(at("10:00"), at("12:00")))), "13:32", SHUT
    yield "no zones on file", replace(cleared(), zones=()), "13:32", SHUT
    none = replace(
        airing().then(Held(at("10:00"), at("12:00")), gas("0.4", "11:00", "12:30")), zones=()
    )
    yield "no zones on file, and nothing since the hold", signed(none), "13:32", SHUT
    soon = airing(rule(closed_hold_s=1, passes_apart_s=1))
    for name, moment, opens in (("just after", "9:00:01", OPENS), ("as", "9:00", SHUT)):
        reads = (air(taken=moment, zone="low"), air(taken=moment, zone="high"))
        gases = [gas(taken=f"9:00:{second}", zone=zone) for second in (20, 30) for zone in ZONES]
        story = signed(soon.then(*reads, Held(at("9:00:01"), at("9:00:10")), *gases))
        yield f"oxygen read {name} the airing began", story, "9:01", opens
    facts = tuple(
        one for one in measured().facts if not (isinstance(one, Read) and one.zone == "high")
    )
    yield "one zone was not read", signed(replace(measured(), facts=facts)), "13:32", SHUT
    for kind in ("gas", "oxygen"):
        facts = tuple(
            one
            for one in measured().facts
            if not (isinstance(one, Read) and one.zone == "high" and one.kind == kind)
        )
        yield f"no {kind} in one zone", signed(replace(measured(), facts=facts)), "13:32", SHUT
    for phase in Phase:
        if phase is not Phase.AIRING:
            moved = cleared().then(Entered(phase, at("13:31:30")))
            yield f"phase {phase.value} at the door", moved, "13:32", SHUT
            dated = signed(measured().then(Entered(phase, at("9:30"))))
            yield f"phase {phase.value}, dated before the hold", dated, "13:32", SHUT
    again = cleared().then(
        Entered(Phase.ABORTED, at("13:31:10")), Entered(Phase.AIRING, at("13:31:20"))
    )
    yield "aborted and aired again", again, "13:32", SHUT
    dated = measured().then(Entered(Phase.DOSING, at("13:00")), Entered(Phase.AIRING, at("9:30")))
    yield "aired again, dated too early", signed(dated), "13:32", SHUT

    yield "just fresh", cleared(), "13:44:59", OPENS
    yield "just stale", cleared(), "13:45", SHUT
    only_gas = [one for one in passing("13:40") if one.kind == "gas"]
    only_air = [one for one in passing("13:40") if one.kind == "oxygen"]
    yield "stale oxygen beside fresh gas", signed(measured().then(*only_gas)), "13:46", SHUT
    yield "stale gas beside fresh oxygen", signed(measured().then(*only_air)), "13:46", SHUT
    one_zone = [one for one in passing("13:40") if one.zone == "low"]
    yield "one zone is stale", signed(measured().then(*one_zone)), "13:46", SHUT

    # The closed hold.
    yield "no hold", signed(airing().then(*passing("12:10"), *passing("13:30"))), "13:32", SHUT
    yield "a hold of just two hours", _held("10:30", "12:30"), "14:02", OPENS
    yield "a hold a second short", _held("10:30:01", "12:30"), "14:02", SHUT
    yield "a hold just after airing began", _held("9:00:01", "11:00:01"), "14:02", OPENS
    yield "a hold as airing began", _held("9:00", "11:00"), "14:02", SHUT
    yield "a hold that began before airing", _held("8:30", "12:00"), "14:02", SHUT
    # Read by a clock that runs a minute ahead, so that it seems to be after the hold.
    ahead = [
        replace(one, taken=at(f"14:01:{second}"))
        for second in (40, 50)
        for one in passing(f"14:00:{second}")
    ]
    planned = airing(rule(passes_apart_s=10)).then(Held(at("12:01:30"), at("14:02")), *ahead)
    yield "a hold that is not over yet", signed(planned), "14:01:20", SHUT
    yield "nor was it when they signed", signed(planned), "14:01:40", SHUT
    yield "a pass on the end of the hold", _held("11:00", "13:00"), "14:02", OPENS
    over = measured().then(gas("3", "12:00"))
    yield "over the limit on the end of the hold", signed(over), "13:32", SHUT
    over = measured().then(gas("3", "11:59:59"))
    yield "over the limit just before the end of the hold", signed(over), "13:32", OPENS
    yield "a pass before the end", _held("11:00:01", "13:00:01"), "14:02", SHUT
    later = measured().then(Held(at("11:00"), at("13:00")))
    yield "a later hold makes the first pass none", signed(later), "13:32", SHUT
    held_again = cleared().then(Held(at("10:30"), at("11:00")))
    yield "a hold recorded after signing", held_again, "13:32", SHUT

    # The two passes.
    yield "passes just an hour apart", _held("10:00", "12:30", second="14:00"), "14:02", OPENS
    near = _held("10:00", "12:30", first="13:00:01")
    yield "passes a second too near", near, "14:02", SHUT
    once = airing(rule(passes_apart_s=0)).then(Held(at("10:00"), at("12:00")), *passing("13:30"))
    yield "one pass, though passes may be near", signed(once), "13:32", SHUT
    twice = once.then(*passing("13:30:30"))
    yield "two passes, which may be near", signed(twice), "13:32", OPENS
    for name, first, opens in (
        ("a first pass just in time", "12:14:59", OPENS),
        ("a first pass that came in late", "12:15", SHUT),
    ):
        story = airing().then(Held(at("9:30"), at("11:50")))
        story = story.then(*passing("12:00", had=at(first)), *passing("13:10"))
        yield name, signed(story), "13:12", opens
    late_too = _with(*passing("12:40", had=at("13:30")))
    yield "a late one beside two that are in time", late_too, "13:32", OPENS


def believing() -> Iterator[tuple[str, Story, str, bool]]:
    """What a reading has to be."""
    for text, compare, opens in (
        ("1", "at_most", OPENS),
        ("1", "below", SHUT),
        ("0.9999", "below", OPENS),
        ("1.0001", "at_most", SHUT),
        ("NaN", "at_most", SHUT),
        ("sNaN", "at_most", SHUT),
        ("-0.1", "at_most", SHUT),
        ("Infinity", "at_most", SHUT),
        ("much", "at_most", SHUT),
        ("", "at_most", SHUT),
        ("0", "below", OPENS),
        ("<LOD", "below", OPENS),
    ):
        story = replace(_last(text=text), rule=rule(compare=compare))
        yield f"“{text}” and {compare}", story, "13:32", opens
    yield "below detection, detecting just the limit", _meter(sees="1"), "13:32", OPENS
    blind = measured(rule(compare="below")).then(replace(METER, sees="1"))
    blind = blind.then(gas("<LOD", "13:31"))
    yield "below detection, where that is the limit", signed(blind), "13:32", SHUT
    yield "no unit", _last(unit=""), "13:32", SHUT
    yield "no unit, below detection", _last(unit="", text="<LOD"), "13:32", SHUT
    yield "another unit", _last(unit="ppb"), "13:32", SHUT
    warm = {"unit": "mg/m3", "temperature_c": "25"}
    yield "4 mg/m3 at 25 °C", _last(text="4.0", **warm), "13:32", OPENS
    yield "5 mg/m3 at 25 °C", _last(text="5.0", **warm), "13:32", SHUT
    yield (
        "mg/m3, temperature unknown",
        _last(text="1", unit="mg/m3", temperature_c=""),
        "13:32",
        SHUT,
    )
    yield "mg/m3, pressure unknown", _last(text="1", unit="mg/m3", pressure_pa=""), "13:32", SHUT
    yield "mg/m3, no pressure", _last(text="1", unit="mg/m3", pressure_pa="0"), "13:32", SHUT
    yield "mg/m3, no number", _last(text="-1", unit="mg/m3"), "13:32", SHUT

    yield "an unknown meter", _last(meter="m9"), "13:32", SHUT
    yield "a meter of another gas", _meter(gas="ozone"), "13:32", SHUT
    yield "a meter that can't see the limit", _meter(sees="1.1"), "13:32", SHUT
    yield "a meter that sees nobody knows what", _meter(sees="-1"), "13:32", SHUT
    yield "calibrated until a second from now", _meter(until=at("13:32:01")), "13:32", OPENS
    yield "calibrated until now", _meter(until=at("13:32")), "13:32", SHUT
    revoked = cleared().then(replace(METER, until=at("13:00")))
    yield "calibration revoked", revoked, "13:32", SHUT
    mended = revoked.then(replace(METER, until=datetime(2031, 12, 2, tzinfo=UTC)))
    yield "calibration revoked and renewed", mended, "13:32", SHUT
    yield "renewed and signed again", signed(mended), "13:32", OPENS

    for percent, opens in (
        ("19.5", OPENS), ("19.49", SHUT), ("23.5", OPENS), ("23.51", SHUT), ("normal", SHUT),
        ("NaN", SHUT),
    ):  # fmt: skip
        facts = tuple(
            replace(one, text=percent) if isinstance(one, Read) and one.kind == "oxygen" else one
            for one in measured().facts
        )
        story = signed(replace(measured(), facts=facts))
        yield f"oxygen {percent} %", story, "13:32", opens
    yield "little oxygen before the hold", signed(
        airing().then(air("12", "9:30"), *measured().facts[4:])
    ), "13:32", OPENS  # fmt: skip
    yield "little oxygen since the hold", _with(air("19", "12:40")), "13:32", SHUT

    yield "two minutes ahead", _last(taken=at("13:32")), "13:33", OPENS
    yield "more than two minutes ahead", _last(taken=at("13:32:01")), "13:33", SHUT
    yield (
        "one that was ahead in an earlier pass",
        _with(gas("0.4", "12:40", "12:37")),
        "13:32",
        SHUT,
    )
    yield "oxygen that was ahead", _with(air("20.9", "12:40", "12:37")), "13:32", SHUT
    yield "read in no zone of the chamber", _with(gas(zone="middle")), "13:32", SHUT
    yield "in no zone, before the hold", signed(
        airing().then(gas(zone="middle", taken="9:30"), *measured().facts[4:])
    ), "13:32", OPENS  # fmt: skip
    yield "over the limit before the hold", signed(
        airing().then(gas("3", "9:30"), *measured().facts[4:])
    ), "13:32", OPENS  # fmt: skip
    yield "over the limit between the passes", _with(gas("1.2", "12:40")), "13:32", SHUT
    yield "the service's clock is put back", cleared(), "13:29:59", SHUT
    yield "the service's clock is put back an hour", cleared(), "12:30", SHUT

    # After the last dose.
    for name, dosed in (
        ("dosed since", Dosed(at("13:31:30"), at("13:31:30"))),
        ("a dose long ago comes to be known", Dosed(at("8:30"), at("13:31:30"))),
        ("a dose to come", Dosed(at("14:00"), at("13:31:30"))),
    ):
        yield name, cleared().then(dosed), "13:32", SHUT
    known_late = Dosed(at("8:30"), at("9:30"))
    before = (*measured().facts[:4], known_late, *measured().facts[4:])
    yield "a dose known before the hold", signed(
        replace(measured(), facts=before)
    ), "13:32", OPENS  # fmt: skip
    ahead = (*measured().facts[:4], Dosed(at("10:30"), at("9:30")), *measured().facts[4:])
    yield (
        "a dose dated ahead, into the hold",
        signed(replace(measured(), facts=ahead)),
        "13:32",
        SHUT,
    )
    for name, moment in (("dosed within the hold", "11:00"), ("dosed between passes", "13:00")):
        dosed = Dosed(at(moment), at(moment))
        yield name, signed(measured().then(dosed)), "13:32", SHUT
    yield "a dose within the hold that says it was before", signed(
        measured().then(Dosed(at("8:30"), at("11:00")))
    ), "13:32", SHUT  # fmt: skip


def contradicting() -> Iterator[tuple[str, Story, str, bool]]:
    """Two readings that can't both be right."""
    other = Registered("n", GAS, "0.05", METER.until)

    def two(text: str, taken: str = "13:30", meter: str = "n", zone: str = "high") -> Story:
        read = gas(text, taken, "13:30:30", zone=zone, meter=meter)
        return signed(measured().then(other, read))

    yield "two meters half the limit apart", two("0.9"), "13:32", OPENS
    yield "two meters further apart", two("0.91"), "13:32", SHUT
    yield "two meters apart within two minutes", two("0.91", "13:28"), "13:32", SHUT
    yield "two meters apart, not of one moment", two("0.91", "13:27:59"), "13:32", OPENS
    yield "the same, before the last pass", two("0.91", "12:12"), "13:32", SHUT
    yield "the same, the other way round", two("0.91", "12:08"), "13:32", SHUT
    yield "two zones apart, each by itself", signed(
        measured().then(
            *(gas(one, "13:30:10", zone=zone) for one, zone in (("0.05", "low"), ("0.85", "high")))
        )
    ), "13:32", OPENS  # fmt: skip
    yield "one meter says two things at once", two("0.41", meter="m"), "13:32", SHUT
    yield "one meter says the same twice", two("0.4", meter="m"), "13:32", OPENS
    yield "one meter says it in another way", two("0.40", meter="m"), "13:32", OPENS
    yield "two meters differ a little at once", two("0.41"), "13:32", OPENS
    yield "one meter differs a little later", two("0.41", "13:30:01", "m"), "13:32", OPENS
    for name, last, opens in (("slowly", "13:32:30", OPENS), ("within two minutes", "13:32", SHUT)):
        rise = (gas("0.6", "13:31", meter="n"), gas("0.95", last, meter="n"))
        story = signed(measured().then(other, *rise))
        yield f"two meters rise {name}, by small steps", story, "13:34", opens
    yield "a fall within two minutes", signed(
        measured().then(
            *(gas(text, taken) for text, taken in (("0.7", "13:32:10"), ("0.1", "13:34"))),
        )
    ), "13:36", SHUT  # fmt: skip
    yield "a fall in a longer time", signed(
        measured().then(
            *(gas(text, taken) for text, taken in (("0.7", "13:32:10"), ("0.1", "13:34:11"))),
        )
    ), "13:36", OPENS  # fmt: skip
    for text, opens in (("19.9", OPENS), ("19.89", SHUT), ("21.9", OPENS), ("21.91", SHUT)):
        yield f"oxygen {text} beside 20.9 %", _with(air(text, "13:30:30")), "13:32", opens
    yield "contradicted before the hold", signed(
        airing().then(gas("0.1", "9:30"), gas("0.9", "9:30"), *measured().facts[4:])
    ), "13:32", OPENS  # fmt: skip
    after = cleared().then(other, gas("0.1", "13:32", meter="n"), gas("0.1", "13:33", meter="n"))
    yield "a meter on file after signing", after, "13:34", SHUT
    first = signed(measured().then(other))
    lower = first.then(gas("0.3", "13:32"), gas("0.3", "13:32", meter="n"))
    yield "two meters agree after signing", lower, "13:33", OPENS
    contrary = signed(measured().then(other, gas("0.9", "13:30:30", meter="n")))
    lower = contrary.then(gas("0.3", "13:32"), gas("0.9", "13:32", meter="n"))
    yield "two meters contradict after signing", lower, "13:33", SHUT


def signing() -> Iterator[tuple[str, Story, str, bool]]:
    """Who has to sign, and what."""
    yield "nobody signed", measured(), "13:32", SHUT
    yield "the fumigator alone", _people(FAY), "13:32", SHUT
    yield "one of them twice", _people(FAY, FAY), "13:32", SHUT
    lead = Role.LEAD
    yield "one name in two accounts", _people(FAY, ("fay  GAS", "b", lead, "")), "13:32", SHUT
    yield "two names in one account", _people(FAY, ("Ada Lead", "fay", lead, "")), "13:32", SHUT
    yield "two without a licence", _people(ADA, ("Bo", "bo", lead, "")), "13:32", SHUT
    lead_with = ("Bo", "bo", lead, "L-1")
    yield "a licence in the hand of a lead", _people(ADA, lead_with), "13:32", SHUT
    for licence, opens in (("L-today", OPENS), ("L-0", SHUT), ("L-9", SHUT), ("", SHUT)):
        people = _people(ADA, ("Fay Gas", "fay", Role.FUMIGATOR, licence))
        yield f"licence “{licence}”", people, "13:32", opens
    yield "one name, written in two ways", _people(
        ("Zoë Gas", "fay", Role.FUMIGATOR, "L-1"), ("Zoe\u0308 Gas", "b", lead, "")
    ), "13:32", SHUT  # fmt: skip
    yield (
        "one account, written in two ways",
        _people(FAY, ("Ada Lead", "FAY ", lead, "")),
        "13:32",
        SHUT,
    )
    yield "three people", _people(FAY, ADA, ("Bo", "bo", lead, "")), "13:32", OPENS

    page = airing().then(Held(at("10:00"), at("12:00")), *passing("12:10"))
    rest = passing("13:10:30", "0.4")
    between = [one for minute in (20, 30, 40, 50) for one in passing(f"12:{minute}")]
    between += passing("13:00")
    yield "signed before the second pass", signed(page).then(*between, *rest), "13:12", SHUT
    yield "signed after it", signed(page.then(*between, *rest)), "13:12", OPENS
    apart = signed(measured(), FAY).then(*passing("13:32", "0.3"))
    apart = signed(apart, ADA)
    yield "each signed what each saw", apart, "13:34", OPENS
    yield "one rose between the two", apart.then(*passing("13:34", "0.35")), "13:35", OPENS
    yield "and then above both", apart.then(*passing("13:34", "0.41")), "13:35", SHUT


def reading_on() -> Iterator[tuple[str, Story, str, bool]]:
    """What comes in after the names."""
    yield "the same again", cleared().then(*passing("13:32")), "13:33", OPENS
    yield "lower", cleared().then(*passing("13:32", "0.1")), "13:33", OPENS
    yield "higher, within the limit", cleared().then(*passing("13:32", "0.41")), "13:33", SHUT
    yield "over the limit", cleared().then(gas("1.1", "13:32")), "13:33", SHUT
    back = cleared().then(*passing("13:32", "0.41"), *passing("13:33", "0.3"))
    yield "higher, and lower again", back, "13:34", SHUT
    yield "higher, lower, and signed again", signed(back), "13:34", OPENS
    other_zone = cleared().then(gas("0.2", "13:31:30"), gas("0.4", "13:32"))
    yield "up again to what was signed", other_zone, "13:33", OPENS
    high = measured().then(*passing("13:20", "0.6"), *passing("13:34", "0.4"))
    yield "no higher than was fresh when signed", signed(high).then(
        *passing("13:34:50", "0.6")
    ), "13:35", OPENS  # fmt: skip
    old = measured().then(*passing("13:44", "0.4"), *passing("13:45", "0.3"))
    yield "as high as was stale when signed", signed(old).then(
        *passing("13:59:30", "0.3"), *passing("14:00", "0.4")
    ), "14:00:30", OPENS  # fmt: skip
    for name, clock, opens in (
        ("as high as one just fresh when signed", "13:44:59", OPENS),
        ("as high as one just stale when signed", "13:45", SHUT),
    ):
        later = measured().then(*passing(clock, "0.3"))
        yield name, signed(later).then(*passing("13:47")), "13:48", opens
    only = measured().then(gas("0.8", "12:40"), gas("0.2", "12:50"))
    yield "as high as long before", signed(only).then(gas("0.8", "13:33")), "13:34", SHUT
    zones = measured().then(gas("0.7", "13:30:30", zone="low"))
    yield "as high as in the other zone", signed(zones).then(gas("0.7", "13:33")), "13:34", SHUT

    yield "oxygen moves within its range", cleared().then(air("21.2", "13:32")), "13:33", OPENS
    yield "oxygen falls", cleared().then(air("19.4", "13:32")), "13:33", SHUT

    for name, taken, had, opens in (
        ("just in time", "13:29", "13:43:59", OPENS),
        ("late", "13:29", "13:44", SHUT),
        ("out of order by two minutes", "13:28", "13:32", OPENS),
        ("out of order by more", "13:27:59", "13:32", SHUT),
        ("two minutes ahead", "13:34", "13:32", OPENS),
        ("more than two minutes ahead", "13:34:01", "13:32", SHUT),
    ):
        for read in (gas("0.4", taken, had), air("20.9", taken, had)):
            yield f"{read.kind}, {name}", cleared().then(read), "13:44:30", opens
    near = airing(rule(passes_apart_s=10)).then(
        Registered("n", "ozone", "0.05", METER.until),
        Held(at("10:00"), at("12:00")),
        *passing("12:00:30"),
        *passing("12:00:50"),
    )
    for read, opens in (
        (gas("0.4", "11:59:30", "12:01:30"), OPENS),
        (gas("0.4", "11:59:30", "12:01:30", meter="n"), SHUT),
        (gas("3", "11:59:30", "12:01:30"), SHUT),
        (air("20.9", "11:59:30", "12:01:30"), OPENS),
        (air("12", "11:59:30", "12:01:30"), SHUT),
    ):
        story = signed(near).then(read)
        yield f"{read} from just before the end of the hold", story, "12:02", opens

    back = cleared().then(gas(taken="13:28:30", had="13:32"), gas(taken="13:27:30", had="13:33"))
    yield "further and further out of order", back, "13:34", SHUT

    def silent(minutes: str, kind: str) -> Story:
        reads = [one for one in passing(f"13:{minutes}") if one.kind == kind]
        rest = [one for one in passing("13:44") if one.kind != kind]
        return cleared().then(*rest, *reads)

    for kind in ("gas", "oxygen"):
        yield f"{kind}, just not silent", silent("44:59", kind), "13:46", OPENS
        yield f"{kind}, silent", silent("45", kind), "13:46", SHUT
    on = cleared().then(*passing("13:40"), *passing("13:54:59"))
    yield "never silent, though long since signed", on, "13:56", OPENS
    yield "silent in between", cleared().then(*passing("13:40"), *passing("13:55")), "13:56", SHUT
    untimely = cleared()
    timeless = replace(untimely, facts=tuple(
        replace(one, says_when=False) if isinstance(one, Signed) else one
        for one in untimely.facts
    ))  # fmt: skip
    yield "signed without saying when", timeless, "13:32", OPENS
    yield "without saying when, and read on", timeless.then(*passing("13:32")), "13:33", SHUT
    yield "came in at the very moment that was signed", cleared().then(
        gas("0.4", "13:29:50", "13:30")
    ), "13:32", SHUT  # fmt: skip
    yield "at that very moment, and taken long before", cleared().then(
        gas("0.4", "11:00", "13:30")
    ), "13:32", SHUT  # fmt: skip
    put_back = cleared().then(gas("0.4", "13:29:30", "13:29:40"))
    yield "came in while the clock was put back", put_back, "13:32", SHUT


def stories() -> list[Told]:
    """Every story."""
    groups: tuple[Callable[[], Iterator[tuple[str, Story, str, bool]]], ...] = (
        measuring,
        believing,
        contradicting,
        signing,
        reading_on,
    )
    return [
        Told(f"{group.__name__}: {name}", story, at(clock), opens)
        for group in groups
        for name, story, clock, opens in group()
    ]


@dataclass(frozen=True)
class Given:
    """What the interlock is asked, and whether the chamber may be opened."""

    name: str
    run: Run
    programme: Programme | None
    setting: Setting
    opens: bool


def of_stories(told: list[Told], judge: Judge | None = None) -> Iterator[Given]:
    """The stories acted out; people sign what ``judge`` shows them."""
    for one in told:
        run, of = acted_out(one.story, judge), programme(one.story.rule)
        yield Given(one.name, run, of, setting(one.story, one.now), one.opens)


def beside_stories() -> Iterator[Given]:
    """What bears on a run that no fact of it can say."""
    story, now = cleared(), at("13:32")
    run, of, known = acted_out(story), programme(story.rule), setting(story, now)
    yield Given("the programme is not on file", run, None, known, SHUT)
    without_gas = of.model_copy(update={"clearance": None})
    yield Given("dosed by a programme without gas", run, without_gas, known, SHUT)
    undosed = run.model_copy(update={"doses": []})
    yield Given("a programme without gas, and nothing dosed", undosed, without_gas, known, OPENS)
    dosing = undosed.model_copy(update={"phases": run.phases[:1]})
    yield Given("a programme without gas, not airing", dosing, without_gas, known, SHUT)
    no_entry = replace(known, gas=None)
    yield Given("the limits table has no entry for the gas", run, of, no_entry, SHUT)
    by_mass = _last(text="1", unit="mg/m3")
    unknown_mass = replace(setting(by_mass, now), molar_mass_g_mol=None)
    yield Given("the molar mass is not known", acted_out(by_mass), of, unknown_mass, SHUT)
    old = replace(story, facts=tuple(
        replace(one, had=None) if isinstance(one, Dosed) else one for one in story.facts
    ))  # fmt: skip
    yield Given("a dose on record from before its receipt was", acted_out(old), of, known, OPENS)


def in_words() -> Iterator[tuple[Story, datetime, tuple[str, ...]]]:
    """Stories with every reason that has to be given, word for word."""
    two_passes = "needs two passes at least 1 h apart after the closed hold"
    for seconds, words in (
        (0, "0 s"),
        (1, "1 s"),
        (119, "119 s"),
        (120, "2 min"),
        (179, "2 min"),
        (3599, "59 min"),
        (3600, "1 h"),
        (5400, "90 min"),
        (7200, "2 h"),
    ):
        story = airing(rule(closed_hold_s=seconds)).then(*passing("13:30"))
        no_hold = f"no closed hold of {words} since airing began and the last dose"
        reasons = (no_hold, *(f"zone {zone}: {two_passes}" for zone in ZONES))
        yield story, at("13:32"), reasons
    limit = "1.2 ppm sulfuryl_fluoride, but the limit is"
    for compare, wording in (("at_most", "at most"), ("below", "below")):
        story = measured(rule(compare=compare)).then(gas("1.20", "12:40"))
        yield story, at("13:32"), (f"zone high: {limit} {wording} 1 ppm (invented)",)
    yield _last(unit="g/m3"), at("13:32"), (
        "zone high: “0.4 g/m3” cannot be read as ppm; measure in ppm, "
        "or in mg/m3 with the temperature and pressure at the sensor",
    )  # fmt: skip
