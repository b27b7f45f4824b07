"""What happened to one piece, in words an adjuster can read without us.

Nothing here names another piece: a manifest or a run may hold pieces of other claims.
"""

from dataclasses import dataclass

from service.pages import moment
from shared import events as ev
from shared.records import Entry

_TITLES = {
    "item_tagged": "Tagged",
    "item_described": "Described",
    "damage_noted": "Damage noted",
    "damage_withdrawn": "Damage withdrawn",
    "photo_taken": "Photographed",
    "value_stated": "Value stated",
    "tag_replaced": "Tag replaced",
    "item_packed": "Packed",
    "manifest_closed": "Listed on a manifest",
    "item_received": "Received at the facility",
    "item_moved": "Moved",
    "override_signed": "Conservator's override signed",
    "weighed": "Weighed",
    "moisture_read": "Moisture measured",
    "surface_read": "Air at its surface measured",
    "step_done": "Step finished",
    "studio_planned": "Studio list signed",
    "studio_area_tested": "Small area tested",
    "studio_task_done": "Studio task finished",
    "studio_task_withdrawn": "Studio task taken off the list",
    "run_opened": "Put down for a chamber run",
    "run_item_added": "Added to a chamber run",
    "run_item_removed": "Taken off a chamber run",
    "item_loaded": "Loaded into a chamber",
    "decision_made": "Decided",
    "charge_added": "Charged",
    "item_returned": "Returned",
    "event_undone": "Taken back by its writer",
}


@dataclass(frozen=True)
class Line:
    """One line of a piece's history."""

    at: str
    title: str
    who: str
    text: str
    event: str


def line_of(entry: Entry, zone: str) -> Line:
    """One event as a line; an event of unknown type is shown as such, never left out."""
    event = entry.event
    kind = str(event.body.get("type", ""))
    return Line(
        at=moment(event.device_time, zone),
        title=_TITLES.get(kind, kind.replace("_", " ").capitalize() or "Unknown event"),
        who=f"{event.actor}, {event.role.label.lower()}",
        text=_words(entry.body, zone),
        event=event.id,
    )


def _words(body: ev.Body | None, zone: str) -> str:
    match body:
        case None:
            return "Stored, but this version does not know its type."
        case ev.ItemTagged():
            materials = ", ".join(material.label for material in body.materials)
            return "; ".join(filter(None, (body.object_type.label, materials, str(body.found))))
        case ev.ItemDescribed():
            said = body.model_dump(exclude_none=True, exclude={"type", "tag", "replaces"})
            return ", ".join(name.replace("_", " ") for name in said)
        case ev.DamageNoted():
            return "; ".join(
                filter(None, (body.damage.label, body.extent.label.lower(), body.note))
            )
        case ev.DamageWithdrawn():
            return f"{body.damage.label}: {body.reason}"
        case ev.PhotoTaken():
            return "; ".join(filter(None, (body.kind.label, body.caption)))
        case ev.ValueStated():
            return f"{body.basis.label}, {_money(body.value)}, by {body.stated_by}"
        case ev.TagReplaced():
            return f"{body.new_tag}: {body.reason}"
        case ev.ItemPacked():
            return f"Container {body.container}"
        case ev.ManifestClosed():
            return f"{body.manifest}, {body.vehicle}"
        case ev.ItemReceived():
            harmed = "damaged on the way" if body.damaged_in_transit else ""
            return "; ".join(filter(None, (body.station, harmed, body.condition, body.reason)))
        case ev.ItemMoved():
            return "; ".join(filter(None, (f"To {body.station}", body.reason)))
        case ev.OverrideSigned():
            return f"{body.agent.label}: {body.reason}, until {body.expires}"
        case ev.Weighed():
            return "; ".join(filter(None, (f"{body.mass.value} {body.mass.unit}", body.instrument)))
        case ev.MoistureRead():
            read = f"{body.percent} ({body.scale.label})" if body.scale else f"{body.percent} %"
            return "; ".join(filter(None, (read, body.method, body.spot)))
        case ev.SurfaceRead():
            degree = "°C" if body.unit == "degC" else "°F"
            air = f"{body.temperature} {degree}, {body.rh_percent} % RH"
            return "; ".join(filter(None, (air, body.spot, body.instrument)))
        case ev.StepDone():
            hours = f"{body.hours} h of work" if body.hours else ""
            return "; ".join(filter(None, (body.step.label, _span(body, zone), hours, body.note)))
        case ev.StudioPlanned():
            return f"By {body.signed_by}: " + ", ".join(one.task.label for one in body.tasks)
        case ev.StudioAreaTested():
            told = (body.task.label, body.spot, body.result.label, body.note)
            return "; ".join(filter(None, told))
        case ev.StudioTaskDone():
            told = (body.task.label, f"{body.hours} h by {body.done_by}", body.used, body.note)
            return "; ".join(filter(None, told))
        case ev.StudioTaskWithdrawn():
            return f"{body.task.label}: {body.reason}"
        case ev.RunOpened() | ev.ItemLoaded():
            return f"Run {body.run}"
        case ev.RunItemAdded() | ev.RunItemRemoved():
            return "; ".join(filter(None, (f"Run {body.run}", body.reason)))
        case ev.DecisionMade():
            return (
                f"{body.decision.label}, by {body.decided_by}: {body.reason or 'no reason given'}"
            )
        case ev.ChargeAdded():
            return f"{body.what}: {body.quantity} {body.unit} at {_money(body.rate)}"
        case ev.ItemReturned():
            return "; ".join(filter(None, (f"To {body.received_by}", body.condition)))
        case ev.EventUndone():
            return f"{body.event}: {body.reason}"
        case _:
            return ""


def _money(money: ev.Money) -> str:
    return f"{money.decimal:,f} {money.currency}"


def _span(body: ev.StepDone, zone: str) -> str:
    if body.started_at == body.ended_at:
        return moment(body.ended_at, zone)
    return f"{moment(body.started_at, zone)} to {moment(body.ended_at, zone)}"
