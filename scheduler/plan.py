"""The plan document: where and when every step is done, what that costs and how good it is.

Documents of format 1 are still read. They lack `Amounts.energy_kwh`, which is left out of what is
written and hashed while it is 0, so that they keep the hash that they had.
"""

import hashlib
from pathlib import Path
from typing import Annotated, Literal, Self

import rfc8785
from pydantic import Field, model_validator

from scheduler.problem import Document, Id, Moment, says_nothing

Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Amount = Annotated[int, Field(strict=True, ge=0)]


class Placement(Document):
    """One step of one item, in minutes after the problem's epoch."""

    item: Id
    step: Id
    station: Id | None = Field(description="Null only for a wait.")
    start: Moment
    end: Moment
    run: Id | None = Field(default=None, description="The run that a batch step is part of.")


class Run(Document):
    """One run of a chamber."""

    id: Id
    station: Id
    programme: Id
    clean_down_start: Moment = Field(
        description="The clean-down goes from here to start; equal to start when none is needed."
    )
    start: Moment
    end: Moment
    items: tuple[Id, ...]


class Amounts(Document):
    """What the plan is charged for, before the problem's weights are applied."""

    lateness: Amount = Field(description="Minutes late times the weight of what is late.")
    late_items: Amount = Field(description="Items whose last step ends after due_min.")
    running_min: Amount = Field(description="Minutes that all runs last.")
    clean_down_cost: Amount = Field(description="Cost of all clean-downs.")
    changes: Amount = Field(description="Steps moved from the last plan.")
    finish: Amount = Field(description="Minutes from the epoch to the end of the last step.")
    energy_kwh: Amount = Field(
        default=0,
        exclude_if=says_nothing,
        description="Electrical energy that all runs use, kWh, each run's rounded up to a whole "
        "one: the chamber's power_w times how long it lasts.",
    )


class Verified(Document):
    """The stamp of the independent verifier."""

    verifier: Literal["lagan-check/1"] = "lagan-check/1"
    plan_sha256: Sha256 = Field(description="Hash of the plan with `verified` null.")
    rules: int = Field(strict=True, ge=1, description="Rules that were held against the plan.")


class Plan(Document):
    """A plan for exactly one problem document."""

    format: Literal["lagan-plan/1", "lagan-plan/2"] = "lagan-plan/2"
    problem_sha256: Sha256 = Field(description="Hash of the problem's canonical JSON (RFC 8785).")
    placements: tuple[Placement, ...]
    runs: tuple[Run, ...]
    amounts: Amounts
    objective: Amount = Field(description="Sum over the amounts of weight times amount.")
    bound: Amount = Field(description="No plan for this problem has a lower objective than this.")
    gap: float = Field(
        ge=0, le=1, description="(objective - bound) / objective; 0 for a proven optimum."
    )
    status: Literal["optimal", "feasible"]
    seed: int = Field(strict=True, ge=0)
    seconds: float = Field(ge=0, description="Wall time spent.")
    method: tuple[str, ...] = Field(default=(), description="How the plan was made, in order.")
    verified: Verified | None = None

    @model_validator(mode="after")
    def _of_its_format(self) -> Self:
        if self.format == "lagan-plan/1" and "energy_kwh" in self.amounts.model_fields_set:
            raise ValueError("format: lagan-plan/1 has no amounts energy_kwh; write lagan-plan/2")
        return self

    def sha256(self) -> str:
        """Lower-case hex SHA-256 of the canonical JSON (RFC 8785), `verified` taken as null."""
        document = self.model_dump(mode="json") | {"verified": None}
        return hashlib.sha256(rfc8785.dumps(document)).hexdigest()


def gap_between(objective: int, bound: int) -> float:
    """Share of the objective that the bound leaves unproven, in [0, 1], six decimals."""
    return round((objective - bound) / objective, 6) if objective else 0.0


def read_plan(path: Path) -> Plan:
    """Read and validate a plan document.

    Raises:
        OSError: the file cannot be read.
        pydantic.ValidationError: the file is not a plan document.
    """
    return Plan.model_validate_json(path.read_bytes())
