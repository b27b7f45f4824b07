"""From the record of a piece to what the rules say of it: triage, steps and advice."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from shared.facility import Facility
from shared.facts import Facts, Gate, MouldConditionNumber, PackingRow
from shared.packing import packing_rows
from shared.programmes import Programme, standing_of
from shared.records import FacilityBook, Item, Loss
from shared.treatments import (
    NeededStep,
    Override,
    PieceState,
    chamber_targets,
    may_treat,
    steps_for,
)
from shared.triage import DamageSeen, FrozenInterval, Triage, TriageInput, assess
from shared.vocabulary import Hazard, Material, Role, StepKind


def materials_of(item: Item, parts: Sequence[Item] = ()) -> tuple[Material, ...]:
    """Every material of a piece and of the parts that still travel with it."""
    found = [*item.materials, *(material for part in parts for material in part.materials)]
    return tuple(dict.fromkeys(found))


def packing_of(item: Item, known: Facts) -> tuple[PackingRow, ...]:
    """How the piece must not be packed; water that has been dried off no longer counts."""
    dried = StepKind.DRY in item.steps_done
    seen = [one.damage for one in item.damages if not (dried and known.damages[one.damage].wets)]
    return packing_rows(item.materials, seen, known)


def triage_of(
    item: Item,
    loss: Loss | None,
    now: datetime,
    parts: Sequence[Item] = (),
    book: FacilityBook | None = None,
    *,
    known: Facts,
) -> Triage:
    """What must happen to the piece first, seen at ``now``, by the facts ``known`` here.

    Water that has been dried off no longer runs its clock, and a frozen stay pauses it.
    """
    dried = StepKind.DRY in item.steps_done
    seen = tuple(
        DamageSeen(
            damage=one.damage,
            extent=one.extent,
            water_category=one.water_category or (loss.water_category if loss else None),
            mould_condition=one.mould_condition,
            wet_since=_not_after(one.wet_since or (loss.wet_since if loss else None), now),
        )
        for one in item.damages
        if not (dried and known.damages[one.damage].wets)
    )
    return assess(
        TriageInput(
            now=now,
            materials=materials_of(item, parts),
            damages=seen,
            hazards=_standing_hazards(item, loss, known),
            significance=item.significance,
            value=Decimal(item.valuation.value.amount) if item.valuation else None,
            mean_temperature_c=(
                float(loss.mean_temperature_c) if loss and loss.mean_temperature_c else None
            ),
            loss_at=_not_after(loss.happened_at if loss else None, now),
            frozen=frozen_intervals(item, book, now),
            conservator_only=item.conservator_only,
        ),
        known,
    )


def _standing_hazards(item: Item, loss: Loss | None, known: Facts) -> frozenset[Hazard]:
    """Hazards of the site that hold the piece where it is.

    They hold until somebody has read the site's cautions and gone in, on the word of whoever
    controls the site, and end when the piece has arrived. What a piece itself is or was wet by
    is told by its materials and damage.
    """
    if loss is None or loss.acknowledged or item.received_at is not None:
        return frozenset()
    gates = known.hazard_gates
    return frozenset(
        hazard
        for hazard in loss.hazards
        if hazard in gates and gates[hazard].gate is Gate.HUMAN_SAFETY
    )


def _not_after(moment: datetime | None, now: datetime) -> datetime | None:
    """A time entered by a clock that runs ahead counts as now."""
    return min(moment, now) if moment is not None else None


def frozen_intervals(
    item: Item, book: FacilityBook | None, now: datetime
) -> tuple[FrozenInterval, ...]:
    """The times the piece was held frozen; the last is open while it still is."""
    ended = tuple(
        FrozenInterval(start=step.started_at, end=step.ended_at)
        for step in item.steps
        if step.step is StepKind.FREEZE and step.started_at < step.ended_at <= now
    )
    if item.station is None or item.station_since is None or not (book and book.facility):
        return ended
    cold = {station.id for station in book.facility.stations if station.kind == "store"}
    since = datetime.fromisoformat(item.station_since)
    if item.station not in cold or since > now + timedelta(seconds=1):
        return ended
    return (*ended, FrozenInterval(start=since))


def worst_mould(item: Item) -> MouldConditionNumber | None:
    """The worst mould condition that anybody saw on the piece."""
    seen = [one.mould_condition for one in item.damages if one.mould_condition is not None]
    return max(seen, default=None)


def needed_steps(item: Item, known: Facts) -> list[NeededStep]:
    """The steps a piece needs from first to last, each with its reason."""
    return steps_for(
        [seen.damage for seen in item.damages],
        mould_condition=worst_mould(item),
        studio_listed=item.studio.listed is not None,
        known=known,
    )


def remaining_steps(item: Item, known: Facts) -> list[StepKind]:
    """The steps still to be done, in lawful order."""
    return [need.step for need in needed_steps(item, known) if need.step not in item.steps_done]


def state_of(item: Item, known: Facts) -> PieceState:
    """What is still on or in the piece now."""
    return PieceState.after(
        [need.step for need in needed_steps(item, known)],
        item.steps_done,
        [seen.damage for seen in item.damages],
    )


def overrides_of(item: Item) -> tuple[Override, ...]:
    """The conservator's signed overrides that name the piece."""
    return tuple(
        Override(
            subject=one.agent,
            materials=tuple(one.materials),
            reason=one.reason,
            signed_by=one.signed_by,
            role=one.role,
            signed_at=datetime.fromisoformat(one.signed_at),
            expires=one.expires,
        )
        for one in item.overrides
        if one.role is Role.CONSERVATOR
    )


@dataclass(frozen=True)
class ProgrammeRuling:
    """Whether a programme may be run on a piece, and every reason why not.

    ``liftable``: a conservator may sign off everything that stands in the way.
    """

    programme: Programme
    allowed: bool
    refusals: tuple[str, ...]
    by_override: bool
    serves: bool
    liftable: bool = False


def rule_on(
    programme: Programme,
    item: Item,
    parts: Sequence[Item],
    state: PieceState,
    at: datetime,
    *,
    facility: Facility | None,
    known: Facts,
) -> ProgrammeRuling:
    """Rule on one programme for a piece in ``state`` that would enter at ``at``.

    ``facility`` says whose licences are on file.
    """
    standing = standing_of(programme, facility, at.date())
    targets = chamber_targets([seen.damage for seen in item.damages], worst_mould(item), known)
    materials = materials_of(item, parts)
    refusals: list[str] = []
    lifted = False
    served = [target for target in programme.targets if target in targets]
    if not served:
        wanted = ", ".join(target.label.lower() for target in sorted(targets)) or "no chamber run"
        refusals.append(f"{programme.label} is not for this piece, which needs: {wanted}.")
    if not standing.usable:
        refusals.append(f"{programme.label} {standing.words}.")
    refusals += [
        f"{programme.label} excludes {material.label.lower()}."
        for material in materials
        if material in programme.exclusions
    ]
    ceiling = known.heat_ceiling_c(materials) if materials else None
    if ceiling is not None and programme.temperature_c[1] > ceiling:
        refusals.append(
            f"{programme.label} may reach {programme.temperature_c[1]:g} °C, and the piece stands "
            f"{ceiling:g} °C at most."
        )
    liftable = not refusals
    for target in served:
        verdict = may_treat(
            programme.agent,
            target,
            materials,
            state,
            at=at,
            overrides=overrides_of(item),
            known=known,
        )
        refusals += [refusal.sentence for refusal in verdict.refusals]
        lifted = lifted or bool(verdict.lifted)
        liftable = liftable and (verdict.allowed or verdict.overridable)
    sentences = tuple(dict.fromkeys(refusals))
    return ProgrammeRuling(
        programme, not sentences, sentences, lifted, bool(served), bool(sentences) and liftable
    )


def choose_programme(
    item: Item, parts: Sequence[Item], book: FacilityBook, at: datetime, *, known: Facts
) -> tuple[Programme | None, tuple[ProgrammeRuling, ...]]:
    """The programme to plan for a piece, once dry and clean, and the ruling on each on file.

    A programme that a conservator's override asks for comes first; then the one that needs the
    fewest people's leave. ``None`` when the rules allow none: a person has to decide.
    """
    clean = PieceState(
        damages=frozenset(seen.damage for seen in item.damages),
        done=frozenset(
            {StepKind.STABILISE, StepKind.DRY, StepKind.SOOT_REMOVAL, StepKind.MOULD_REMOVAL}
        ),
    )
    rulings = tuple(
        rule_on(one, item, parts, clean, at, facility=book.facility, known=known)
        for one in book.newest_programmes()
    )
    allowed = sorted(
        (ruling for ruling in rulings if ruling.allowed),
        key=lambda ruling: (
            not ruling.by_override,
            ruling.programme.needs_licence,
            ruling.programme.id,
        ),
    )
    return (allowed[0].programme if allowed else None), rulings
