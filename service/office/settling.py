"""Settling what two people entered differently: a person chooses, the record keeps all."""

from collections.abc import Sequence
from typing import Any

from shared import events as ev
from shared.records import Conflict, Item, Said
from shared.vocabulary import Material, ObjectType, Significance

TAG_FIELD = "tag"
"""The conflict of a tag tied to two pieces, which no choice of a value settles."""

_WORDS = {
    "object_type": ObjectType,
    "materials": Material,
    "significance": Significance,
}
_FIELD_LABELS = {
    "object_type": "Type of object",
    "found": "Where it was found",
    "conservator_only": "Conservator only",
    "period": "Date or period",
    "medium": "Medium as written",
    "features": "Distinguishing features",
    "quantity": "How many under the tag",
}


class SettlingError(ValueError):
    """The choice cannot be taken; the message says why and what to do."""


def field_label(name: str) -> str:
    """A field's name in plain words."""
    return _FIELD_LABELS.get(name, name.replace("_", " ").capitalize())


def value_words(field: str, value: Any) -> str:
    """One of the values of a field, as a person would read it."""
    if isinstance(value, bool):
        return "Yes" if value else "No"
    if isinstance(value, list):
        return ", ".join(value_words(field, part) for part in value)
    if isinstance(value, dict):
        if field == "size":
            sides = (value.get(side) for side in ("height", "width", "depth"))
            return " × ".join(f"{side['value']} {side['unit']}" for side in sides if side)
        return ", ".join(str(part) for part in value.values() if part) or "nothing entered"
    if field in _WORDS:
        return _WORDS[field](value).label
    return str(value) if value not in (None, "") else "nothing entered"


def tagged_words(body: dict[str, Any]) -> str:
    """What a tag was tied to, from the body of the event that tied it."""
    materials = value_words("materials", body.get("materials", []))
    where = value_words("found", body.get("found", {}))
    return f"{value_words('object_type', body['object_type'])}, {materials}; found: {where}"


def open_conflict(item: Item, field: str) -> Conflict | None:
    """The conflict over ``field``, or ``None`` when there is none (any more)."""
    return next((one for one in item.conflicts if one.field == field), None)


def settled(item: Item, field: str, chosen: str, seen: Sequence[str]) -> ev.ItemDescribed:
    """The event that lets the value said in event ``chosen`` stand in place of those ``seen``.

    Raises ``SettlingError`` when the conflict is settled already, needs another mend, or
    ``chosen`` is not one of its values.
    """
    if field == TAG_FIELD:
        raise SettlingError("A tag tied to two pieces is mended by giving one of them a new tag.")
    conflict = open_conflict(item, field)
    if conflict is None:
        raise SettlingError("Somebody has settled this already; look at the list again.")
    said: Said | None = next((one for one in conflict.values if one.event == chosen), None)
    if said is None or chosen not in seen:
        raise SettlingError("Choose the value that is to stand.")
    return ev.ItemDescribed.model_validate(
        {"tag": item.tag, field: said.value, "replaces": [*seen]}
    )
