"""The figures that a facility has changed for itself, and the words that say so on every output.

A facility keeps its changes in ``facts-changes.csv`` in the installation's folder; see
:mod:`shared.fact_changes`. Without the file the facts hold as shipped.
"""

from pathlib import Path

from shared.facts import Facts, FactsError, facts, load_facts


def facts_of(file: Path) -> Facts:
    """The facts with the changes in ``file``, or as shipped when there is no such file.

    Raises ``FactsError`` naming the file, the row and column at fault, and the mend.
    """
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return facts()
    except (OSError, UnicodeDecodeError) as error:
        raise FactsError(f"{file}: cannot be read ({error}); save it as CSV in UTF-8") from error
    try:
        return load_facts(text)
    except FactsError as error:
        raise FactsError(f"{file}: {error}") from error


def changes_note(known: Facts) -> str:
    """One sentence for whatever was made under changed facts; empty when none is changed."""
    if not known.changes:
        return ""
    cells = "; ".join(cell.sentence for cell in known.changes)
    return f"This facility works with figures that it changed itself: {cells}."
