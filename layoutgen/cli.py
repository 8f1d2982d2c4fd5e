"""Command line: parse, call the pipeline, print. No logic lives here."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from layoutgen import __version__, pipeline, report
from layoutgen.base_file import base_toml
from layoutgen.errors import ConfigError, LayoutgenError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help=(
        "Street markings for a whole district: from street centerlines and a rules file to marking "
        "polygons, jobs and truck tours in one GeoPackage. Layouts are for planning: local codes, "
        "the road authority's traffic control plan and a licensed engineer govern."
    ),
)
out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)

ProjectArgument = Annotated[
    Path, typer.Argument(metavar="PROJECT.toml", help="The project file.", show_default=False)
]


class _State:
    """Chosen verbosity of this call: -1 quiet, 0 normal, 1 verbose."""

    level = 0


@app.callback()
def options(
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Print faults only.")] = False,
    verbose: Annotated[bool, typer.Option("--verbose", "-v", help="Print every finding.")] = False,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.")] = False,
) -> None:
    """Options that hold for every command; give them before its name."""
    if version:
        out.print(__version__)
        raise typer.Exit
    _State.level = -1 if quiet else 1 if verbose else 0


@app.command()
def init(
    sources: Annotated[list[Path], typer.Argument(metavar="SOURCE...", help="Files or folders.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="Project file to write.")],
    force: Annotated[bool, typer.Option("--force", help="Replace an existing file.")] = False,
) -> None:
    """Look into the files, propose the field mapping, and write a commented project file."""
    proposal = pipeline.propose_project(sources, output, force)
    _say(report.proposal_table(proposal, output))
    for message in proposal.messages:
        _say(message)
    _say(f"check every line of {output}, then: layoutgen check {output}")


@app.command()
def check(
    project: ProjectArgument,
    layout: Annotated[
        Path | None, typer.Option("--layout", help="A layout to audit, ours or another agency's.")
    ] = None,
    layer: Annotated[str, typer.Option("--layer", help="Its layer, where several fit.")] = "",
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="File for its findings: .gpkg or .csv.")
    ] = None,
) -> None:
    """Read settings and inputs, build the street model, and print what is found; with --layout,
    audit a layout of any origin against the rows of the standard (exit code 1: it has errors)."""
    with _steps() as step:
        loaded = pipeline.load_project(project)
        base = pipeline.check(loaded, step)
        asked = layout is not None or pipeline.names_layout(loaded)
        audited = pipeline.audit(loaded, base, layout, layer, step) if asked else None
        if audited and output:
            pipeline.write_audit(audited, base, output)
    if audited is None:
        _say(report.inputs_table(base))
        _say(report.findings_table(base.findings, every=_State.level > 0))
        return
    _say(report.audit_table(audited))
    _say(report.findings_table(report.audit_log(audited), every=_State.level > 0))
    _say(report.audit_summary(audited))
    if output:
        _say(f"wrote {output}")
    if report.audit_errors(audited):
        raise typer.Exit(1)


@app.command()
def generate(project: ProjectArgument) -> None:
    """Lay out all markings and write them to the project's GeoPackage."""
    with _steps() as step:
        loaded = pipeline.load_project(project)
        layout = pipeline.generate(loaded, step)
    _say(report.layout_table(layout))
    _say(report.findings_table(layout.findings, every=_State.level > 0))
    _say(f"wrote {loaded.output}")


@app.command()
def route(project: ProjectArgument) -> None:
    """Group the markings in the GeoPackage into jobs, plan the truck tours, and add both to it."""
    with _steps() as step:
        loaded = pipeline.load_project(project)
        layout, tours = pipeline.route_again(loaded, step)
    _say(report.tours_table(tours))
    _say(report.findings_table(layout.findings, every=_State.level > 0))
    _say(f"wrote {loaded.output}")


@app.command()
def record(
    project: ProjectArgument,
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The crew's log: .csv or .geojson.")],
) -> None:
    """Enter what a crew painted, by section, marking or job; the next route plans what is left."""
    with _steps() as step:
        step(f"reading {log.name}")
        done = pipeline.record(pipeline.load_project(project), log)
    _say(report.record_tables(done))
    wrong = any(f.severity == "error" for f in done.findings)
    _say(report.findings_table(done.findings, every=True), always=wrong)
    _say(report.record_line(done))
    if wrong:
        raise typer.Exit(1)


@app.command()
def export(
    project: ProjectArgument,
    to: Annotated[
        str, typer.Option("--to", help="With commas: gpx, geojson, csv, kml, crew, bid, wzdx.")
    ] = "gpx,geojson,csv,kml",
    folder: Annotated[
        Path | None, typer.Option("-o", "--output", help="Folder; default: beside the GeoPackage.")
    ] = None,
) -> None:
    """Write exchange files from the GeoPackage."""
    with _steps() as step:
        step("exporting")
        written = pipeline.export(pipeline.load_project(project), to.split(","), folder)
    _say(f"wrote {len(written)} files to {written[0].parent if written else folder}")


@app.command()
def run(project: ProjectArgument) -> None:
    """All of it: check, generate, route and export, with a summary."""
    with _steps() as step:
        loaded = pipeline.load_project(project)
        layout = pipeline.generate(loaded, step)
        tours = pipeline.route(loaded, layout, step)
        step("exporting")
        written = pipeline.export(loaded, pipeline.EXPORTS, None)
    if _State.level > 0:
        _say(report.tours_table(tours))
        _say(report.findings_table(layout.findings, every=True))
    _say(report.layout_table(layout, by=["kind"]))
    _say(report.findings_line(layout.findings))
    _say(report.summary(layout, tours, loaded))
    _say(f"wrote {loaded.output} and {len(written)} files in {loaded.output.with_suffix('')}")


@app.command()
def explain(
    project: ProjectArgument,
    marking_id: Annotated[str, typer.Argument(metavar="ID", help="A marking_id of the layout.")],
) -> None:
    """Why a marking is there: rule, reason, settings, and the rows of the standard behind them."""
    found = pipeline.explain(pipeline.load_project(project), marking_id)
    _say(report.explanation(found), always=True)


@app.command()
def rules() -> None:
    """The rules with their settings: default, allowed range, source."""
    for table in report.rules_tables():
        _say(table, always=True)


@app.command()
def symbols(
    output: Annotated[Path, typer.Option("-o", "--output", help="Sheet to write: .svg or .pdf.")],
    project: Annotated[
        Path | None,
        typer.Argument(metavar="[PROJECT.toml]", help="With this project's own figures."),
    ] = None,
) -> None:
    """Draw all figures to scale, with sizes, areas, break lines and sources."""
    count, pages = pipeline.symbol_sheet(project, output)
    _say(f"wrote {count} figures on {pages} sheets to {output}")


@app.command()
def schema(
    toml: Annotated[
        bool, typer.Option("--toml", help="Print the base settings file instead.")
    ] = False,
) -> None:
    """JSON Schema of the project file, for editors."""
    out.out(base_toml() if toml else json.dumps(pipeline.json_schema(), indent=1))


def main() -> None:
    """Entry point; exit 0 = done, 1 = bad input or settings, or a layout with errors, 2 = usage."""
    try:
        app()
    except LayoutgenError as fault:
        err.print(f"[bold red]error[/] {escape(str(fault))}")
        sys.exit(1)
    except KeyboardInterrupt:
        err.print("stopped; the files from before this run are as they were")
        sys.exit(130)


class _steps:
    """Progress: a spinner with the step on a terminal, plain lines elsewhere, nothing if quiet."""

    def __init__(self) -> None:
        self._bar: Progress | None = None

    def __enter__(self) -> Callable[[str], None]:
        if _State.level < 0:
            return lambda _: None
        if not err.is_terminal:
            return lambda text: err.print(escape(text))
        columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
        self._bar = Progress(*columns, console=err, transient=True)
        self._bar.start()
        task = self._bar.add_task("starting")
        return lambda text: self._show(task, text)

    def _show(self, task: Any, text: str) -> None:
        if self._bar is not None:
            self._bar.update(task, description=text)

    def __exit__(self, *fault: object) -> None:
        if self._bar is not None:
            self._bar.stop()


def _say(what: str | Table, *, always: bool = False) -> None:
    if _State.level >= 0 or always:
        out.print(escape(what) if isinstance(what, str) else what)


__all__ = ["ConfigError", "app", "main"]
