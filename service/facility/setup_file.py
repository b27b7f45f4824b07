"""The set-up as one YAML file: written with its units explained, read with the line of each fault.

Every value is read as it is written, and the field it is for judges it: a licence number of
digits stays as typed, and 0.1 ppm stays exactly that. JSON is read as well.
"""

from collections.abc import Sequence
from io import StringIO

from pydantic import ValidationError
from ruamel.yaml import YAML
from ruamel.yaml.comments import CommentedMap, CommentedSeq
from ruamel.yaml.constructor import SafeConstructor
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    MappingEndEvent,
    MappingStartEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.nodes import MappingNode, Node, SequenceNode

from service.facility.setup import SetupDocument, SetupError

LARGEST_BYTES = 2 * 1024 * 1024
DEEPEST = 20
"""A set-up nests eight deep; what goes deeper is no set-up."""
HEAD = """The facility, its signed programmes and its gas instruments.
Lengths are whole millimetres, volumes litres, temperatures degrees Celsius, gas ppm by volume.
Shares and relative humidity run from 0 to 1: 55 % is 0.55. Times are local, dates year-month-day.
A signed version of a programme never changes: write a change as a new version."""
REMARKS = {
    "altitude_m": "metres above the sea",
    "inside_mm": "millimetres: width, height, depth",
    "door_mm": "millimetres: width, height",
    "rail_mm": "millimetres of hanging rail, in all",
    "usable_fill": "share of the inside volume, 0 to 1",
    "air_changes_per_h": "while airing",
    "half_loss_h": "hours in which gas falls to half in the shut chamber, as measured",
    "rack_mm": "millimetres of rack, in all",
    "removal_g_h": "grams of water taken out of the air in an hour",
    "temperature_c": "degrees Celsius",
    "rh": "relative humidity, 0 to 1",
    "air_speed_m_s": "metres per second",
    "usable_l": "litres",
    "weekdays": "0 is Monday",
    "minutes": "minutes of work between the two programmes",
    "cost": "whole units of the currency",
    "concentration_ppm": "ppm: lowest and highest that counts; the signer's figures",
    "dose_ppm_h": "ppm times hours: least and greatest; the signer's figures",
    "run_min": "minutes: least and greatest length of the whole run, airing included",
    "limit_ppm": "ppm at which the chamber may be opened; the source is cited_from",
    "detection_limit_ppm": "ppm",
}


class _AsWritten(SafeConstructor):
    """Takes numbers, dates and times for the text they are written as."""


for _kind in ("int", "float", "timestamp"):
    _AsWritten.add_constructor(f"tag:yaml.org,2002:{_kind}", SafeConstructor.construct_yaml_str)


def _yaml() -> YAML:
    reader = YAML(typ="safe", pure=True)
    reader.Constructor = _AsWritten
    return reader


def read_document(data: bytes) -> SetupDocument:
    """A set-up out of YAML or JSON. Raises ``SetupError`` with the line and field of each fault."""
    if len(data) > LARGEST_BYTES:
        raise SetupError(f"the file: {len(data)} bytes; a set-up has at most {LARGEST_BYTES}")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise SetupError("the file: not text in UTF-8; save it as UTF-8") from error
    if text.lstrip().startswith("{"):
        return _checked(text, None)
    try:
        _refuse_bombs(text)
        root = _yaml().compose(text)
        content = _yaml().load(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = f"line {mark.line + 1}: " if mark else ""
        raise SetupError(f"{line}{error.problem or error.context}") from error
    except (YAMLError, ValueError) as error:
        raise SetupError(f"the file: {error}") from error
    if not isinstance(content, dict):
        raise SetupError("the file: holds no set-up; start from one that was written out here")
    return _checked(content, root)


def _checked(content: object, root: Node | None) -> SetupDocument:
    try:
        if isinstance(content, str):
            return SetupDocument.model_validate_json(content)
        return SetupDocument.model_validate(content)
    except ValidationError as error:
        raise SetupError(
            "; ".join(f"{_place(one['loc'], root)}: {one['msg']}" for one in error.errors())
        ) from error


def _refuse_bombs(text: str) -> None:
    """Refuse what grows when it is read, before anything is built from it."""
    depth = 0
    for event in YAML(typ="safe", pure=True).parse(StringIO(text)):
        if isinstance(event, AliasEvent):
            raise SetupError(
                f"line {event.start_mark.line + 1}: a reference (*{event.anchor}); write the "
                "value out"
            )
        if isinstance(event, MappingStartEvent | SequenceStartEvent):
            depth += 1
            if depth > DEEPEST:
                raise SetupError(
                    f"line {event.start_mark.line + 1}: nested more than {DEEPEST} deep"
                )
        elif isinstance(event, MappingEndEvent | SequenceEndEvent):
            depth -= 1


def _place(parts: Sequence[int | str], root: Node | None) -> str:
    """The field, and the line that it or what it is missing from begins on."""
    field = ".".join(str(part) for part in parts) or "the file"
    if root is None:
        return field
    line, node = root.start_mark.line, root
    for part in parts:
        if isinstance(node, SequenceNode) and isinstance(part, int) and part < len(node.value):
            node = node.value[part]
            line = node.start_mark.line
        elif isinstance(node, MappingNode):
            found = next((pair for pair in node.value if pair[0].value == part), None)
            if found is not None:
                line, node = found[0].start_mark.line, found[1]
    return f"line {line + 1}, {field}"


def write_document(document: SetupDocument) -> str:
    """The set-up as YAML, each unit explained where it first stands."""
    writer = YAML()
    writer.width = 100
    writer.indent(mapping=2, sequence=4, offset=2)
    content = _mapping(document.model_dump(mode="json", exclude_none=True), dict(REMARKS))
    content.yaml_set_start_comment(HEAD)
    out = StringIO()
    writer.dump(content, out)
    return out.getvalue()


def _mapping(value: dict[str, object], remarks: dict[str, str]) -> CommentedMap:
    """``value`` in its order; each remark is used up where its key first stands."""
    made = CommentedMap()
    for key, inner in value.items():
        made[key] = _written(inner, remarks)
        if key in remarks:
            made.yaml_add_eol_comment(remarks.pop(key), key)
    return made


def _written(value: object, remarks: dict[str, str]) -> object:
    if isinstance(value, dict):
        return _mapping(value, remarks)
    if isinstance(value, list):
        many = CommentedSeq(_written(inner, remarks) for inner in value)
        if not any(isinstance(inner, dict) for inner in value):
            many.fa.set_flow_style()
        return many
    return value
