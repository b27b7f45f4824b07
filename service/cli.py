"""The command line. Errors go to standard error; exit 2 is bad usage, exit 1 a failed check."""

import io
import json
import logging
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, NoReturn

import structlog
import typer
from pydantic import ValidationError
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from service.installation import Installation
from service.log.append import RefusedError
from service.reports.issue import InventoryFormat
from service.settings import DEFAULT_FOLDER, Settings
from service.storage.database import DurabilityError
from shared.facts import FactsError
from shared.ledger import LedgerError
from shared.quantities import LengthUnit
from shared.vocabulary import Band

app = typer.Typer(
    name="lagan",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Salvage, treatment and return of artwork after fire, flood and other disasters.",
)
errors = Console(stderr=True)

Folder = Annotated[
    Path, typer.Option("--data", help="Folder of the installation.", envvar="LAGAN_DATA")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object for a program.")]


class Failed(StrEnum):
    """Exit codes."""

    CHECK = "1"
    USAGE = "2"


def fail(message: str, how: Failed = Failed.USAGE) -> NoReturn:
    """Say why on standard error and end."""
    errors.print(f"lagan: {message}", style="red", highlight=False, markup=False, soft_wrap=True)
    raise typer.Exit(int(how))


def _installation(settings: Settings) -> Installation:
    try:
        return Installation(settings)
    except (LedgerError, DurabilityError, FactsError) as error:
        fail(str(error), Failed.CHECK)


@contextmanager
def opened(folder: Path) -> Iterator[Installation]:
    """The installation in ``folder``, closed at the end."""
    here = _installation(Settings(folder=folder))
    try:
        yield here
    finally:
        here.close()


@contextmanager
def progress_bar(label: str, total: int | None) -> Iterator[Progress]:
    """A progress bar on standard error, with one task already added."""
    with Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=errors,
        transient=True,
    ) as bar:
        bar.add_task(label, total=total)
        yield bar


def quiet_logs(level: int = logging.WARNING) -> None:
    """Structured logs on standard error, from ``level`` up."""
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.JSONRenderer(),
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=lambda *_: structlog.PrintLogger(sys.stderr),
    )


@app.callback()
def start(
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Log every request and batch.")
    ] = False,
) -> None:
    """Salvage, treatment and return of artwork after fire, flood and other disasters."""
    quiet_logs(logging.INFO if verbose else logging.WARNING)


@app.command(epilog="Example:  lagan serve --port 8000 --data ./data")
def serve(
    data: Folder = DEFAULT_FOLDER,
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8000,
    base_url: Annotated[
        str | None,
        typer.Option(help="What invitations and tags point to, where another machine leads here."),
    ] = None,
) -> None:
    """Serve the pages and the log on http://localhost:PORT, for this machine only."""
    import uvicorn

    from service.app import create_app
    from service.pages import NotBuiltError, asset

    try:
        asset("site.css")
    except NotBuiltError as error:
        fail(str(error))
    here = _installation(Settings(folder=data, base_url=base_url or f"http://localhost:{port}"))
    errors.print(
        f"Lagan serves http://localhost:{port}/ from {data}. Ctrl-C ends it.", soft_wrap=True
    )
    uvicorn.run(create_app(here), host="127.0.0.1", port=port, log_config=None, access_log=False)


@app.command(epilog="Example:  lagan tags --count 240 --layout a4-3x8 --out tags.pdf")
def tags(
    count: Annotated[int, typer.Option(min=1, max=100_000, help="How many.")],
    out: Annotated[Path, typer.Option(help="Where to write the PDF.")],
    layout: Annotated[
        str,
        typer.Option(
            help="A name such as a4-3x8 or letter-2x5-tie-on, a roll such as roll-62x100, or any "
            "sheet by its measures, such as "
            "grid:page=a4,columns=2,rows=7,label=99x38,left=4.7,top=15,gap=2.5x0 (mm)."
        ),
    ] = "a4-3x8",
    stub: Annotated[
        bool, typer.Option("--stub", help="Add a spare duplicate to each, for the crate.")
    ] = False,
    base_url: Annotated[str, typer.Option(help="What the tags point to.")] = Settings.base_url,
) -> None:
    """Print blank tags ahead: unique without a server, to be tied on and never stuck on."""
    from labels.codes import TagError, new_tags
    from labels.sheets import LayoutError, layout_named, with_spare_stub, write_tag_sheets

    try:
        chosen = with_spare_stub(layout_named(layout)) if stub else layout_named(layout)
        with progress_bar("Drawing tags", count) as bar:
            printed = write_tag_sheets(
                out,
                new_tags(count),
                chosen,
                base_url,
                progress=lambda done, _of: bar.update(bar.task_ids[0], completed=done),
            )
    except (LayoutError, TagError, ValueError) as error:
        fail(str(error))
    typer.echo(f"{out}: {count} tags on {printed.pages} pages")


@app.command(
    "second-tags", epilog="Example:  lagan second-tags HARBOUR-1 --band now --out second.pdf"
)
def second_tags(
    loss: Annotated[str, typer.Argument(help="The loss.")],
    out: Annotated[Path, typer.Option(help="Where to write the PDF.")],
    room: Annotated[str, typer.Option(help="Only what was found in this room.")] = "",
    container: Annotated[str, typer.Option(help="Only what is packed in this one.")] = "",
    band: Annotated[Band | None, typer.Option(help="Only what is this urgent.")] = None,
    layout: Annotated[
        str, typer.Option(help="A name, a roll or a sheet by its measures, as for tags.")
    ] = "roll-62x100",
    first_label: Annotated[int, typer.Option(min=1, help="Where a sheet partly used goes on.")] = 1,
    base_url: Annotated[str, typer.Option(help="What the tags point to.")] = Settings.base_url,
    data: Folder = DEFAULT_FOLDER,
) -> None:
    """Print what triage says of a loss's pieces to hang beside their tags, most urgent first."""
    from service.facility.second_tags import TagsWanted, write_second_tags

    made = io.BytesIO()
    with opened(data) as here:
        try:
            printed = write_second_tags(
                here,
                TagsWanted(loss, room, container, band),
                made,
                layout,
                base_url=base_url,
                first_label=first_label,
            )
        except ValueError as error:
            fail(str(error))
    out.write_bytes(made.getvalue())
    typer.echo(f"{out}: {printed.pieces} pieces on {printed.labels} labels")


@app.command(epilog="Example:  lagan facility setup.yaml --actor 'A. Lead'")
def facility(
    file: Annotated[
        Path | None,
        typer.Argument(exists=True, dir_okay=False, help="A YAML or JSON file to take."),
    ] = None,
    actor: Annotated[str, typer.Option(help="Your name, for the record.")] = "lagan facility",
    data: Folder = DEFAULT_FOLDER,
) -> None:
    """Take a facility's chambers, rooms, benches, people and signed programmes from a file.

    Without a file, print what is on record, or the demonstration's invented facility as a pattern.
    """
    from service.facility.setup import SetupDocument, SetupError, setup_of, take_setup
    from service.facility.setup_file import read_document, write_document

    with opened(data) as here:
        if file is None:
            from demo_data.facility import FACILITY, INSTRUMENTS, PROGRAMMES

            invented = SetupDocument(
                facility=FACILITY, programmes=PROGRAMMES, instruments=INSTRUMENTS
            )
            typer.echo(write_document(setup_of(here) or invented), nl=False)
            return
        try:
            recorded = take_setup(here, read_document(file.read_bytes()), actor)
        except (SetupError, RefusedError) as error:
            fail(f"{file}: {error}")
    typer.echo(f"{file}: {recorded} changes recorded")


@app.command("import", epilog="Example:  lagan import crew.csv --loss HARBOUR-1 --partial")
def import_file(
    file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A CSV file.")],
    loss: Annotated[str, typer.Option(help="The loss the pieces belong to.")],
    data: Folder = DEFAULT_FOLDER,
    partial: Annotated[
        bool, typer.Option("--partial", help="Take the rows without problems.")
    ] = False,
    unit: Annotated[
        LengthUnit | None, typer.Option(help="Unit of sizes written without one.")
    ] = None,
    currency: Annotated[
        str | None, typer.Option(help="Currency of values written without one, such as USD.")
    ] = None,
    actor: Annotated[str, typer.Option(help="Your name, for the record.")] = "lagan import",
    as_json: AsJson = False,
) -> None:
    """Take a crew's spreadsheet. What is not recognised is listed by row and column."""
    from service.crew.importing import ImportRefusedError, import_spreadsheet, problems_in
    from service.crew.spreadsheet import ImportOptions, SpreadsheetError

    options = ImportOptions(length_unit=unit, currency=currency)
    with opened(data) as here, progress_bar("Reading", None) as bar:

        def tell(done: int, of: int | None) -> None:
            bar.update(bar.task_ids[0], completed=done, total=of)

        try:
            outcome = import_spreadsheet(
                here, file, loss, actor=actor, partial=partial, options=options, progress=tell
            )
            problems = [str(one) for one in outcome.report.problems]
            if outcome.report.problem_count > len(problems) and not as_json:
                problems = [str(one) for one in problems_in(here, file, loss, options)]
        except (SpreadsheetError, ImportRefusedError) as error:
            fail(str(error))
    report = outcome.report
    facts = {
        "rows": report.rows,
        "rows_with_problems": report.rows_with_problems,
        "problems": report.problem_count,
        "pieces_stored": outcome.pieces_stored,
        "pieces_already_stored": outcome.pieces_already_stored,
        "kept_as_notes": [use.heading for use in report.unmapped],
        "assumptions": list(report.assumptions),
    }
    if as_json:
        typer.echo(json.dumps(facts | {"first_problems": problems}))
    else:
        for problem in problems:
            errors.print(problem, markup=False, highlight=False, soft_wrap=True)
        for assumption in report.assumptions:
            typer.echo(f"assumed: {assumption}")
        if report.unmapped:
            typer.echo(f"kept as notes: {', '.join(use.heading for use in report.unmapped)}")
        typer.echo(
            f"{report.rows} rows, {report.rows_with_problems} with problems; "
            f"{outcome.pieces_stored} pieces taken, {outcome.pieces_already_stored} here already"
        )
        if not outcome.written:
            typer.echo("Nothing was taken. Mend the rows, or take the sound ones with --partial.")
    if report.problem_count:
        raise typer.Exit(int(Failed.CHECK))


@app.command(epilog="Example:  lagan plan problem.json --seconds 60 --out plan.json")
def plan(
    problem: Annotated[Path, typer.Argument(exists=True, dir_okay=False)],
    out: Annotated[Path, typer.Option(help="Where to write the plan.")],
    seconds: Annotated[float, typer.Option(min=1, max=86_400, help="Time to spend.")] = 60,
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same search.")] = 0,
    as_json: AsJson = False,
) -> None:
    """Make a plan: always a feasible one first, then better, with a bound and a gap."""
    from scheduler.problem import read_problem
    from scheduler.solve import NoPlanError, solve
    from scheduler.solve import Progress as Step

    with progress_bar("Planning", int(seconds)) as bar:

        def tell(step: Step) -> None:
            gap = "no plan yet" if step.gap is None else f"gap {step.gap:.1%}"
            words = f"{step.phase}: best {step.objective}, bound {step.bound}, {gap}"
            bar.update(bar.task_ids[0], completed=int(step.seconds), description=words)

        try:
            made = solve(read_problem(problem), seconds=seconds, seed=seed, on_progress=tell)
        except ValidationError as error:
            fail(f"{problem}: {_faults(error)}")
        except NoPlanError as error:
            fail(str(error), Failed.CHECK)
    out.write_text(made.model_dump_json(indent=1) + "\n", encoding="utf-8")
    facts = {
        "objective": made.objective,
        "bound": made.bound,
        "gap": made.gap,
        "status": made.status,
        "runs": len(made.runs),
        "seconds": made.seconds,
        "amounts": made.amounts.model_dump(),
    }
    if as_json:
        typer.echo(json.dumps(facts))
    else:
        typer.echo(
            f"{out}: {made.status}, cost {made.objective}, none below {made.bound}, "
            f"gap {made.gap:.2%}, {len(made.runs)} runs, {made.seconds:.1f} s"
        )


@app.command(epilog="Example:  lagan check problem.json plan.json")
def check(
    problem: Annotated[Path, typer.Argument(exists=True, dir_okay=False)],
    plan_file: Annotated[Path, typer.Argument(exists=True, dir_okay=False, metavar="PLAN")],
    as_json: AsJson = False,
) -> None:
    """Check a plan with a program that shares no code with the planner."""
    from scheduler.check import check as verify
    from scheduler.plan import read_plan
    from scheduler.problem import read_problem

    try:
        asked, made = read_problem(problem), read_plan(plan_file)
    except ValidationError as error:
        fail(_faults(error))
    report = verify(asked, made)
    breaches = [str(breach) for breach in report.breaches]
    if as_json:
        facts = {"passed": report.passed, "breaches": breaches, "objective": made.objective}
        facts |= {"bound": made.bound, "gap": made.gap, "amounts": made.amounts.model_dump()}
        typer.echo(json.dumps(facts))
    else:
        for name, amount in made.amounts.model_dump().items():
            weight = getattr(asked.weights, name)
            typer.echo(f"{name:16} {amount:>14,} × {weight:<6,} = {amount * weight:>16,}")
        typer.echo(f"{'objective':16} {made.objective:>14,}")
        typer.echo(f"{'bound':16} {made.bound:>14,}")
        typer.echo(f"{'gap':16} {made.gap:>14.2%}")
        typer.echo("passed" if report.passed else f"failed: {breaches[0]}")
    if not report.passed:
        for breach in breaches:
            errors.print(breach, markup=False, highlight=False, soft_wrap=True)
        raise typer.Exit(int(Failed.CHECK))


def _faults(error: ValidationError) -> str:
    return "; ".join(
        f"{'.'.join(str(part) for part in one['loc']) or 'document'}: {one['msg']}"
        for one in error.errors()[:20]
    )


@app.command(epilog="Example:  lagan inventory HARBOUR-1 --format pdf --out inventory.pdf")
def inventory(
    loss: Annotated[str, typer.Argument(help="The loss.")],
    out: Annotated[Path, typer.Option(help="Where to write it.")],
    form: Annotated[
        InventoryFormat, typer.Option("--format", help="What to write.")
    ] = InventoryFormat.PDF,
    claim: Annotated[str | None, typer.Option(help="Only this claim.")] = None,
    data: Folder = DEFAULT_FOLDER,
) -> None:
    """Write the item-level inventory of a loss."""
    from service.log.reading import Scope
    from service.reports.issue import NotFoundError, inventory_from, write_inventory

    scope = Scope(claims=frozenset({claim})) if claim else Scope()
    with opened(data) as here, progress_bar("Writing", None) as bar:
        try:
            document = inventory_from(here, scope, loss, prepared_by="lagan inventory")
        except NotFoundError as error:
            fail(str(error))
        with out.open("wb") as target:
            write_inventory(
                document,
                form,
                target,
                here.photos,
                progress=lambda done, of: bar.update(bar.task_ids[0], completed=done, total=of),
            )
    typer.echo(f"{out}: {len(document.items)} pieces")


@app.command(epilog="Example:  lagan custody HARBOUR-1 --out custody.zip")
def custody(
    loss: Annotated[str, typer.Argument(help="The loss.")],
    out: Annotated[Path, typer.Option(help="Where to write the bundle.")],
    data: Folder = DEFAULT_FOLDER,
) -> None:
    """Write the custody bundle of a loss: its record and proofs, to be checked without us."""
    from service.log.custody import BundleError, write_bundle
    from shared.events import utc_text

    with opened(data) as here, here.database.read() as session:
        try:
            facts = write_bundle(session, here.log.signer, loss, utc_text(here.now()), out)
        except BundleError as error:
            fail(str(error))
    typer.echo(f"{out}: {facts.leaves} events under {facts.checkpoints} checkpoints")
    typer.echo(f"key: {facts.key}")


@app.command(epilog="Example:  lagan verify custody.zip --key 'lagan.local+12ab34cd+AbC…'")
def verify(
    bundle: Annotated[Path, typer.Argument(exists=True, dir_okay=False)],
    key: Annotated[str | None, typer.Option(help="The public key, had from elsewhere.")] = None,
    as_json: AsJson = False,
) -> None:
    """Check a custody bundle: every event, every checkpoint, every link."""
    from service.log.custody import BundleError, verify_bundle

    try:
        report = verify_bundle(bundle, key)
    except BundleError as error:
        fail(str(error), Failed.CHECK)
    if as_json:
        typer.echo(json.dumps(report.as_json()))
    else:
        facts = report.facts
        typer.echo(f"loss {facts.loss}: {facts.leaves} events, {report.sealed} of them sealed")
        typer.echo(f"{facts.checkpoints} checkpoints agree" if report.intact else "NOT INTACT")
        typer.echo(f"{report.facility_proved} of {facts.facility_events} facility events proved")
        typer.echo(f"{report.chained} links between a device's events hold")
        if key is None:
            typer.echo("Checked against the key inside the bundle. For full trust give --key.")
        typer.echo("This proves that nothing was changed since it was sealed, not that it is true.")
    for fault in report.faults:
        errors.print(fault, markup=False, highlight=False, soft_wrap=True)
    if not report.intact:
        raise typer.Exit(int(Failed.CHECK))


@app.command(epilog="Example:  lagan demo --once --out ./demo-out --seed 1")
def demo(
    once: Annotated[bool, typer.Option("--once", help="End when the files are written.")] = False,
    out: Annotated[Path, typer.Option(help="Where to write.")] = DEFAULT_FOLDER / "demo",
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same scenario.")] = 1,
    seconds: Annotated[float, typer.Option(min=5, max=600, help="For planning.")] = 45,
    port: Annotated[int, typer.Option(min=1, max=65535)] = 8000,
    as_json: AsJson = False,
) -> None:
    """Do the whole job on an invented fire and an invented flood, then serve it."""
    from service.demo import DemoError, run_demo

    with progress_bar("Invented scenario", None) as bar:
        try:
            summary = run_demo(
                out,
                seed=seed,
                seconds=seconds,
                say=lambda words: bar.update(bar.task_ids[0], description=words),
            )
        except DemoError as error:
            fail(str(error), Failed.CHECK)
    typer.echo(json.dumps(summary.facts) if as_json else summary.text())
    if not once:
        serve(data=summary.installation, port=port)


def main() -> None:
    """Entry point. A file that cannot be read or written is a matter of usage, not of a fault."""
    try:
        app()
    except OSError as error:
        errors.print(f"lagan: {error}", style="red", highlight=False, markup=False, soft_wrap=True)
        sys.exit(int(Failed.USAGE))


if __name__ == "__main__":
    main()
