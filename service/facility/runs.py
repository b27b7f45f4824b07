"""Chamber runs: what the interlock has to know, and the phases a run may pass through."""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from service.log import reading
from shared.clearance import Clearance, Setting, clearance
from shared.facility import Chamber
from shared.facts import DosingCheckRow, Facts
from shared.programmes import Programme
from shared.records import Run, RunSheet
from shared.vocabulary import Phase

NEXT_PHASES: dict[Phase, tuple[Phase, ...]] = {
    Phase.PLANNED: (Phase.LOADING, Phase.ABORTED),
    Phase.LOADING: (Phase.SEALED, Phase.ABORTED),
    Phase.SEALED: (Phase.DOSING, Phase.HOLDING, Phase.LOADING, Phase.ABORTED),
    Phase.DOSING: (Phase.HOLDING, Phase.AIRING, Phase.ABORTED),
    Phase.HOLDING: (Phase.DOSING, Phase.AIRING, Phase.ABORTED),
    Phase.AIRING: (Phase.DOSING, Phase.CLEARED, Phase.ABORTED),
    Phase.ABORTED: (Phase.AIRING,),
    Phase.CLEARED: (Phase.UNLOADED,),
    Phase.UNLOADED: (),
}
"""What may follow what. An aborted run is aired and cleared like any other: gas may be inside."""


def checks_missing(
    run: RunSheet, programme: Programme | None, known: Facts
) -> tuple[DosingCheckRow, ...]:
    """The checks before dosing that nobody has done since the chamber was sealed or aired.

    None are asked for by a programme without a gas.
    """
    if programme is not None and not programme.needs_licence:
        return ()
    done = {one.check for one in run.checks}
    return tuple(row for row in known.dosing_checks.values() if row.id not in done)


@dataclass(frozen=True)
class RunInHand:
    """A run with everything that bears on it."""

    run: Run
    programme: Programme | None
    chamber: Chamber | None
    clearance: Clearance


def in_hand(session: Session, run_id: str, now: datetime, known: Facts) -> RunInHand | None:
    """The run, its programme and chamber, and what the interlock says of it at ``now``."""
    run = reading.run(session, run_id)
    if run is None:
        return None
    book = reading.facility(session)
    programme = book.programme(run.programme, run.version)
    chamber = book.chamber(run.station)
    gas = programme.clearance.gas if programme and programme.clearance else None
    row = known.gases.get(gas) if gas else None
    setting = Setting(
        zones=chamber.zones if chamber else (),
        gas=row.gas if row else None,
        molar_mass_g_mol=row.molar_mass_g_mol if row else None,
        instruments={one.instrument: one for one in book.instruments},
        licences={
            person.licence_no: person.expires
            for person in (book.facility.licensed if book.facility else ())
        },
        now=now,
    )
    return RunInHand(run, programme, chamber, clearance(run, programme, setting))
