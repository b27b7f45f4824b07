"""The interlock with one of its guards taken out: every one that its source has, one at a time.

A guard is a condition in the source of ``shared/clearance.py``: an ``if``, a ``while``, either way
of an ``… if … else …``, one side of an ``and`` or ``or``, one link of a chain of comparisons, the
filter of a comprehension, the bound of a comparison (``<`` for ``<=`` and so on), one of the things
that ``min`` or ``max`` choose among, or what one statement adds to the reasons. None is listed by
hand, so none can be forgotten.
"""

import ast
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from types import ModuleType

from shared import clearance

YES, NO = ast.Constant(True), ast.Constant(False)
BOUNDS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
}


@dataclass(frozen=True)
class Mutant:
    """The source without one guard.

    Attributes:
        guard: where it was and what it said: the function, and the condition that was changed.
    """

    guard: str
    source: ast.Module

    def module(self) -> ModuleType:
        """It as a module that can be used in place of the real one."""
        module = ModuleType("clearance_without_a_guard")
        sys.modules[module.__name__] = module  # dataclasses look their module up by name
        code = compile(ast.fix_missing_locations(self.source), clearance.__file__, "exec")
        exec(code, module.__dict__)
        return module


def mutants() -> Iterator[Mutant]:
    """Every mutant, in the order of the source."""
    source = Path(clearance.__file__).read_text("utf-8")
    for number, (function, node) in enumerate(_conditions(ast.parse(source))):
        for way, (words, _) in enumerate(_changes(node)):
            changed = ast.parse(source)
            _, same = next(islice(_conditions(changed), number, None))
            _changes(same)[way][1]()
            yield Mutant(f"{function}: {words}", changed)


_Condition = (
    ast.If
    | ast.While
    | ast.IfExp
    | ast.BoolOp
    | ast.Compare
    | ast.comprehension
    | ast.Call
    | ast.AugAssign
)
_Change = tuple[str, Callable[[], None]]


def _conditions(tree: ast.Module) -> Iterator[tuple[str, _Condition]]:
    for function in ast.walk(tree):
        if isinstance(function, ast.FunctionDef):
            for node in ast.walk(function):
                if isinstance(node, _Condition):
                    yield function.name, node


def _changes(node: _Condition) -> list[_Change]:
    """What can be taken out of a condition, and how."""
    match node:
        case ast.If() | ast.While():
            return [(f"never {ast.unparse(node.test)}", lambda: setattr(node, "test", NO))]
        case ast.IfExp():
            return [
                (f"{words} {ast.unparse(node.test)}", partial(setattr, node, "test", always))
                for words, always in (("always", YES), ("never", NO))
            ]
        case ast.BoolOp():
            return [
                (f"without {ast.unparse(one)}", partial(_leave_out, node, one))
                for one in node.values
            ]
        case ast.comprehension():
            return [
                (f"without the filter {ast.unparse(one)}", partial(node.ifs.remove, one))
                for one in node.ifs
            ]
        case ast.AugAssign():
            nothing = ast.List([], ast.Load())
            return [(f"without {ast.unparse(node)}", partial(setattr, node, "value", nothing))]
        case ast.Call(func=ast.Name("min" | "max"), args=[_, _, *_]):
            return [
                (
                    f"{ast.unparse(node)} without {ast.unparse(one)}",
                    partial(node.args.__setitem__, place, other),
                )
                for place, (one, other) in enumerate(
                    zip(node.args, reversed(node.args), strict=True)
                )
            ]
        case ast.Call():
            return []
        case ast.Compare():
            return [*_links(node), *_bounds(node)]


def _leave_out(node: ast.BoolOp, one: ast.expr) -> None:
    node.values.remove(one)
    if len(node.values) == 1:  # the syntax tree asks for two
        node.values *= 2


def _links(chain: ast.Compare) -> list[_Change]:
    """A chain of comparisons without its first, and without its last."""
    if len(chain.ops) == 1:
        return []

    def without_first() -> None:
        chain.left, *chain.comparators = chain.comparators
        del chain.ops[0]

    def without_last() -> None:
        del chain.ops[-1], chain.comparators[-1]

    words = ast.unparse(chain)
    return [
        (f"without the first of {words}", without_first),
        (f"without the last of {words}", without_last),
    ]


def _bounds(chain: ast.Compare) -> list[_Change]:
    """A comparison that takes in its bound where it left it out, or the other way round."""

    def shift(place: int, other: type[ast.cmpop]) -> None:
        chain.ops[place] = other()

    return [
        (f"the bound of {ast.unparse(chain)}, {place + 1}", partial(shift, place, BOUNDS[type(op)]))
        for place, op in enumerate(chain.ops)
        if type(op) in BOUNDS
    ]
