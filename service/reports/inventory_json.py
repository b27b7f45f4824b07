"""The inventory as JSON, under the schema that :func:`inventory_schema` publishes."""

import os
from pathlib import Path

from labels.paper import Target
from service.reports.inventory_document import InventoryDocument


def write_inventory_json(document: InventoryDocument, target: Target) -> int:
    """Write the inventory as JSON in UTF-8; return the number of items."""
    data = document.model_dump_json(indent=1).encode()
    if isinstance(target, str | os.PathLike):
        Path(target).write_bytes(data)
    else:
        target.write(data)
    return len(document.items)
