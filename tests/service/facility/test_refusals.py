"""Every refusal at a chamber, walked in the source: short, and with what to do now."""

import ast
import inspect
import re
from collections.abc import Iterator
from itertools import product
from types import ModuleType

import pytest

from service.facility import guards, loading, loading_pages, run_pages, runs
from service.facility.loading import NAME_WORDS, first_sentence
from shared.facts import facts
from shared.treatments import permission
from shared.vocabulary import Agent, Material, Permission

MOST_WORDS = 25
MODULES = (guards, loading, runs, run_pages, loading_pages)
WORDS = {
    "short_name(item)": NAME_WORDS,
    "too_big": 0,  # A sentence of its own below.
    "lapsed": 0,
    "standing.words": 9,
    "first_sentence(ruling.refusals[0])": 0,
    "todo": 3,
    "checks": 6,
    "what": 5,
    "allowed": 5,
    "refused": 4,
}
"""Words that stand for what is filled in, where it is not one; labels count three."""
MEND = re.compile(
    r"(^|[.;:,…] |; and |and |or )(only )?"
    r"(have|take|put|keep|scan|open|ask|look|give|choose|do|say|load|unload|abort|air|clear"
    r"|change|sign|move|use|go|write|tick|nothing is left)\b",
    re.IGNORECASE,
)
CARRY_ON = {
    "phase: …",
    "programme: … …",
    "STOP: …",
    "STOP: …. … …",
    "STOP: this is no tag of ours. …",
}
"""What is filled in says what to do: it comes from a list that is judged elsewhere."""
SAID = {"back", "_again"}
"""Functions of the pages that carry a refusal to the next page."""


def texts(node: ast.expr) -> Iterator[tuple[str, int]]:
    """Each sentence that an expression can be, with its words as they would be filled in."""
    match node:
        case ast.Constant(value=str() as text) if len(text.split()) > 2:
            yield text, len(text.split())
        case ast.JoinedStr(values=values):
            text, extra = "", 0
            for one in values:
                if isinstance(one, ast.Constant):
                    text += str(one.value)
                elif isinstance(one, ast.FormattedValue):
                    name = ast.unparse(one.value)
                    text += "…"
                    extra += WORDS.get(name, 3 if name.endswith(".label") else 1) - 1
            yield text, len(text.split()) + extra
        case ast.BinOp(left=left, op=ast.Add(), right=_):
            yield from texts(left)
        case ast.IfExp(body=body, orelse=orelse):
            yield from texts(body)
            yield from texts(orelse)
        case ast.BoolOp(values=values):
            for one in values:
                yield from texts(one)


def refusals(module: ModuleType) -> Iterator[tuple[str, int, str]]:
    for function in ast.walk(ast.parse(inspect.getsource(module))):
        if not isinstance(function, ast.FunctionDef):
            continue
        for node in ast.walk(function):
            if (
                isinstance(node, ast.Return)
                and node.value is not None
                and function.name not in SAID
                and module in {guards, loading, runs}
            ):
                for text, words in texts(node.value):
                    yield function.name, words, text
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in SAID
            ):
                given = [*node.args, *(one.value for one in node.keywords)]
                for one in given:
                    for text, words in texts(one):
                        if not text.startswith("/"):
                            yield function.name, words, text


ALL = [
    (module.__name__.rpartition(".")[2], *found) for module in MODULES for found in refusals(module)
]


def test_the_walk_finds_the_refusals() -> None:
    assert len(ALL) >= 55
    found = {name for name, *_ in ALL}
    assert {"guards", "loading", "run_pages", "loading_pages"} <= found


@pytest.mark.parametrize(
    ("module", "function", "words", "text"), ALL, ids=lambda value: str(value)[:40]
)
def test_a_refusal_is_short_and_says_what_to_do(
    module: str, function: str, words: int, text: str
) -> None:
    assert words <= MOST_WORDS, text
    built = "lapsed" in function or function in {"fits", "short_name", "first_sentence"}
    refers = text in CARRY_ON
    # The word itself says what to do: keep it shut.
    assert built or refers or text.startswith("NOT CLEARED") or MEND.search(text), text


def test_what_the_tables_refuse_is_short_at_the_door_too() -> None:
    """The name of a piece and what to do come with it, for every agent used in a chamber."""
    known = facts()
    judged = 0
    for agent, material in product(Agent, Material):
        ruling = permission(agent, material, known)
        if not known.agents[agent].chamber or ruling.permission is Permission.YES:
            continue
        needs = (
            "not allowed" if ruling.permission is Permission.NO else "only on a conservator's word"
        )
        sentence = f"{agent.label} on {material.label.lower()}: {needs}. {ruling.reason}"
        shown = f"STOP: {'word ' * NAME_WORDS}{first_sentence(sentence)} Ask a conservator."
        # Agents without a gas carry longer names: low temperature, dry, against insects.
        most = MOST_WORDS if known.agents[agent].gas else MOST_WORDS + 2
        assert len(shown.split()) <= most, shown
        judged += 1
    assert judged > 100
