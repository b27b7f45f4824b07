"""Writes what the phone's program is built from: the event contract and the words shown for it.

``python -m service.contract FILE`` writes one JSON document: ``schema`` (JSON Schema of events and
bodies), ``labels`` (for each enum its values with their plain words, in the order people see them),
``undoable`` (the event types that their writer may take back) and ``wetting`` (the kinds of damage
for which the time of wetting is asked), ``mouldy`` (those for which the condition of the mould is
asked) and ``material_words`` (for each material the words by which somebody may look for it).
"""

import inspect
import json
import sys
from pathlib import Path
from typing import Any

from shared import vocabulary
from shared.events import contract_schema
from shared.facts import facts
from shared.recognise import words_for_materials
from shared.records import UNDOABLE
from shared.vocabulary import Damage


def contract() -> dict[str, Any]:
    """The document described in the module's docstring."""
    return {
        "schema": contract_schema(),
        "labels": {
            name: {member.value: member.label for member in enum}
            for name, enum in inspect.getmembers(vocabulary, inspect.isclass)
            if issubclass(enum, vocabulary.Labelled) and enum is not vocabulary.Labelled
        },
        "wetting": [damage.value for damage, row in facts().damages.items() if row.wets],
        "mouldy": [Damage.MOULD_SUSPECTED, Damage.MOULD_VISIBLE],
        "material_words": {
            material.value: " ".join(words) for material, words in words_for_materials().items()
        },
        "undoable": sorted(body.model_fields["type"].default for body in UNDOABLE),
    }


def main() -> None:
    """Write the document to the file named on the command line."""
    if len(sys.argv) != 2:
        sys.exit("usage: python -m service.contract FILE")
    text = json.dumps(contract(), ensure_ascii=False, indent=1)
    Path(sys.argv[1]).write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
