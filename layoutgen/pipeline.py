"""The stages in order; nothing else calls a stage.

settings -> read -> street design -> rules -> polygons -> quantities -> jobs -> tours -> write
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj

from layoutgen import layers
from layoutgen.config import nearest
from layoutgen.edits import as_stored, with_kept_actions
from layoutgen.errors import Finding, FindingLog, InputError, OutputError
from layoutgen.export import formats
from layoutgen.gis import propose, write
from layoutgen.gis.far import far_inputs
from layoutgen.gis.plane import parse_crs
from layoutgen.gis.read import InputParams, Inputs, read_inputs, read_on_request
from layoutgen.gis.roles import role
from layoutgen.gis.schema import layer
from layoutgen.markings.audit import Audit
from layoutgen.markings.audit import audit as hold_to_rows
from layoutgen.markings.engine import ask_rules, draw_markings, leg_policy
from layoutgen.markings.idle_cases import idle_cases
from layoutgen.markings.paints import ROLE, paints_of
from layoutgen.markings.symbols import figure, figure_names, word
from layoutgen.markings.symbols.sheet import SHEET_WORDS, write_sheet
from layoutgen.settings import (
    Project,
    SettingsBase,
    exclusions_of,
    json_schema,
    load_project,
    rule_in_force,
    street_params,
)
from layoutgen.street.build import build_design
from layoutgen.street.design import Design
from layoutgen.tours import tour
from layoutgen.work import quantities
from layoutgen.work.calibrate import Proposal, proposals
from layoutgen.work.gate import weather_of
from layoutgen.work.jobs import group
from layoutgen.work.loads import loads_table, materials_table
from layoutgen.work.materials import drying
from layoutgen.work.quantities import choose_material, idle_paint_cases
from layoutgen.work.record import match, read_log, totals, with_status
from layoutgen.work.sections import cut_markings, not_reached
from layoutgen.work.time import section_minutes
from layoutgen.work.timetable import Drying

Progress = Callable[[str], None]

#: formats that `run` exports
EXPORTS = ("gpx", "geojson", "csv", "kml")

__all__ = [
    "EXPORTS",
    "Audited",
    "Layout",
    "Recorded",
    "audit",
    "check",
    "explain",
    "export",
    "generate",
    "json_schema",
    "lay_out",
    "load_project",
    "names_layout",
    "propose_project",
    "record",
    "route",
    "route_again",
    "symbol_sheet",
    "write_audit",
]


@dataclass(frozen=True)
class Layout:
    """Result of `lay_out`, on the working plane."""

    inputs: Inputs
    design: Design
    markings: gpd.GeoDataFrame
    findings: FindingLog
    sections: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)
    register_marks: gpd.GeoDataFrame = field(default_factory=gpd.GeoDataFrame)


@dataclass(frozen=True)
class Audited:
    """Result of `audit`: the file, how many rows it has, and what was found."""

    file: Path
    rows: int
    result: Audit


@contextmanager
def _unswept() -> Iterator[None]:
    """Without the search for reference cycles, which looks at every living object again and again.

    A run makes millions of records, and none that form cycles; reference counts free them all.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def propose_project(sources: Sequence[Path], output: Path, force: bool) -> propose.Proposal:
    """Project file proposed from the sources, written to `output`.

    Raises:
        OutputError: the file exists and is not to be replaced, or cannot be written.
        InputError: a source cannot be read.
    """
    if output.exists() and not force:
        raise OutputError(f"{output}: exists already. Choose another name, or give --force.")
    proposal = propose.propose(sources, output)
    try:
        output.write_text(proposal.text, encoding="utf-8")
    except OSError as fault:
        raise OutputError(f"{output}: cannot be written ({fault.strerror}).") from None
    return proposal


def symbol_sheet(project: Path | None, output: Path) -> tuple[int, int]:
    """Catalogue of figures, with those of a project, as a drawing: (figures, sheets).

    Raises:
        OutputError: another ending than .svg or .pdf, or the file cannot be written.
        ConfigError: as `load_project`.
    """
    own = load_project(project).figures if project else {}
    shipped = [figure(name) for name in figure_names() if name not in own]
    words = [word(text, height_ft=8.0) for text in SHEET_WORDS]
    drawn = [*sorted([*shipped, *own.values()], key=lambda f: f.name), *words]
    try:
        pages = write_sheet(drawn, "Figures and letters of pavement markings", output)
    except ValueError as fault:
        raise OutputError(f"{fault}.") from None
    except OSError as fault:
        raise OutputError(f"{output}: cannot be written ({fault.strerror}).") from None
    return len(drawn), pages


@_unswept()
def check(project: Project, progress: Progress) -> Layout:
    """Inputs and street model only; the layout has no markings."""
    progress("reading inputs")
    inputs, found = read_inputs(project.settings.inputs, project.settings.project.driving_side)
    log = FindingLog([*found, *far_inputs(inputs.tables)])
    progress("building the street model")
    design, found = build_design(
        inputs.tables, street_params(project.settings), leg_policy(project.rules)
    )
    log.extend(found)
    empty, _ = draw_markings([], design.axes, "")
    return Layout(inputs, design, empty, log)


@_unswept()
def audit(
    project: Project, layout: Layout, source: Path | None, layer: str, progress: Progress
) -> Audited:
    """A layout of any origin, held to the rows of the standard on the street model of the project.

    Args:
        project: settings; `[inputs.layout]` maps the columns.
        layout: answer of `check`.
        source: the file; None = the one that `[inputs.layout]` names.
        layer: its layer; empty = the one set there, else `markings`, else the only one that fits.
        progress: told every step.

    Raises:
        InputError: the file cannot be used.
    """
    given = project.settings.inputs.get(ROLE) or InputParams(source="")
    file = source or Path(given.source)
    change = {"source": str(file), "layer": layer or given.layer or _own_layer(file)}
    progress(f"auditing {file.name}")
    spec = given.model_copy(update=change)
    table, found = read_on_request(spec, role(ROLE), layout.inputs.plane)
    params = project.settings.audit
    if params.missing == "auto":
        ours = change["layer"] == "markings" and write.has_layer(file, "run_info")
        params = params.model_copy(update={"missing": "all" if ours else "shown"})
    paints, told = paints_of(table, layout.design, params.reach_ft)
    result = hold_to_rows(paints, layout.design, params)
    result.findings[:0] = [*found, *told]
    return Audited(file, len(table) + sum(f.rows for f in found), result)


def names_layout(project: Project) -> bool:
    """Whether the project file itself names a layout to audit."""
    spec = project.settings.inputs.get(ROLE)
    return spec is not None and bool(spec.source)


def write_audit(audited: Audited, layout: Layout, path: Path) -> None:
    """Findings of an audit as a file of their own, `.gpkg` or `.csv`."""
    table = layers.audit_table(audited.result.findings, layout.inputs.plane)
    write.write_audit(path, table, layout.inputs.source_crs)


def _own_layer(file: Path) -> str:
    """`markings` where the file is a layout of ours."""
    own = file.suffix.lower() == ".gpkg" and file.is_file() and write.has_layer(file, "markings")
    return "markings" if own else ""


@_unswept()
def lay_out(project: Project, progress: Progress) -> Layout:
    """Inputs -> measured markings; nothing is written."""
    return cut(project, marked(project, progress), progress)


def marked(project: Project, progress: Progress) -> Layout:
    """Inputs -> markings, not cut yet."""
    base = check(project, progress)
    progress("asking the rules")
    asked = ask_rules(base.design, project.rules)
    base.findings.extend(idle_cases(base.design, project.rules))
    progress(f"drawing {len(asked):,} markings")
    markings, found = draw_markings(
        asked, base.design.axes, "", exclusions_of(base.design, project.settings)
    )
    base.findings.extend(found)
    base.findings.extend(idle_paint_cases(markings, project.settings.paint))
    markings = choose_material(markings, project.settings.paint)
    markings = markings.set_crs(base.inputs.plane, allow_override=True)
    base.findings.extend(not_reached(markings, base.design))
    return replace(base, markings=markings)


def cut(project: Project, layout: Layout, progress: Progress) -> Layout:
    """Sections of all markings, with what they need, and the markings' sums."""
    settings = project.settings
    progress("cutting sections")
    reach = settings.truck.reach
    sections, marks = cut_markings(layout.markings, layout.design, reach)
    sections = quantities.measure(sections, settings.materials, settings.paint.pavement)
    sections["minutes"] = section_minutes(sections, settings.crew, reach.pass_width_ft)
    sections, found = with_status(sections, _records(project))
    layout.findings.extend(found)
    markings = quantities.with_sums(layout.markings, sections)
    return replace(layout, markings=markings, sections=sections, register_marks=marks)


@_unswept()
def generate(project: Project, progress: Progress) -> Layout:
    """Inputs -> layout, written to the project's GeoPackage."""
    started = time.time()
    _make_folder(project.output.parent)
    layout = marked(project, progress)
    markings, found = with_kept_actions(layout.markings, project.output)
    layout.findings.extend(found)
    layout = cut(project, replace(layout, markings=markings), progress)
    progress("writing " + project.output.name)
    tables = _layout_tables(project, layout, started)
    records = _records(project)
    if len(records):
        tables["records"] = records
    write.write_package(project.output, tables, crs=_output_crs(project, layout.inputs))
    return layout


def _records(project: Project) -> pd.DataFrame:
    """Layer `records` of the package as it is; empty where there is none."""
    if project.output.is_file() and write.has_layer(project.output, "records"):
        return pd.DataFrame(write.read_layer(project.output, "records"))
    return pd.DataFrame(columns=[column.name for column in layer("records").columns])


@dataclass(frozen=True)
class Recorded:
    """Result of `record`: what was entered, what was told, and what the records say so far."""

    entered: int
    sections: gpd.GeoDataFrame
    findings: FindingLog
    totals: pd.DataFrame
    proposals: list[Proposal]


def record(project: Project, log: Path) -> Recorded:
    """Enters a crew's log into the project's GeoPackage.

    Raises:
        InputError: no tours yet, or a log that cannot be read.
    """
    sections = write.read_layer(project.output, "sections")
    before = _records(project)
    new, found = match(read_log(log), sections, before)
    findings = FindingLog(found)
    every = new if before.empty else pd.concat([before, new], ignore_index=True)
    sections, found = with_status(sections, every)
    findings.extend(found)
    if len(new):
        tables = {"records": every, "sections": sections}
        write.write_package(
            project.output, tables, crs=sections.crs, keep=project.output, only=True
        )
    settings = project.settings
    film = {name: m.film_mil for name, m in settings.materials.items()}
    rates = proposals(every, sections, settings.crew, film)
    return Recorded(len(new), sections, findings, totals(every, sections), rates)


def route(project: Project, layout: Layout, progress: Progress) -> tour.TourTables:
    """Jobs and tours for a layout, added to the project's GeoPackage."""
    settings = project.settings
    progress("grouping jobs")
    progress("asking the weather")
    used = sorted(set(layout.sections["material"])) if len(layout.sections) else []
    hours, air_f, found = weather_of(settings.weather, settings.materials, used, settings.crew)
    layout.findings.extend(found)
    times = settings.crew, _drying(settings, air_f)
    jobs, sections = group(layout.sections, layout.design, settings.jobs, times)
    layout = replace(layout, sections=sections)
    progress(f"planning tours for {len(jobs):,} jobs")
    planned, found = tour.plan(
        jobs,
        layout.design,
        _yard_xy(layout.inputs.tables.get("yard")),
        tour.Settings(
            settings.tours,
            settings.trucks,
            settings.travel,
            settings.crew,
            settings.traffic_control,
            hours,
        ),
        seed=settings.project.seed,
    )
    layout.findings.extend(found)
    if planned.interrupted:
        layout.findings.add(_stopped())
    progress("writing " + project.output.name)
    _add_tours(project, layout, planned, air_f)
    return planned


def _drying(settings: SettingsBase, air_f: float) -> Drying:
    """Minutes to no-track and to dry of every material and color, at one air temperature."""
    materials = settings.materials
    return cache(lambda name, color: drying(materials[name], air_f, color))


def route_again(project: Project, progress: Progress) -> tuple[Layout, tour.TourTables]:
    """Jobs and tours for the markings in the GeoPackage, as they were left there.

    A marking deleted there gets no job, one set to `keep` neither. The street model is built anew
    from the inputs; a marking that the present inputs and settings do not give is a finding.
    """
    progress("reading the layout")
    stored = write.read_layer(project.output, "markings")
    with _unswept():
        layout = marked(project, progress)
    markings, found = as_stored(layout.markings, stored)
    layout = cut(project, replace(layout, markings=markings), progress)
    layout.findings.extend(found)
    return layout, route(project, layout, progress)


def export(project: Project, names: Sequence[str], folder: Path | None) -> list[Path]:
    """Exchange files from the project's GeoPackage."""
    papers = project.settings.papers
    options: dict[str, dict[str, Any]] = {
        "crew": {"paper": papers.size},
        "wzdx": {"utc_offset_hours": papers.utc_offset_hours, "publisher": papers.publisher},
    }
    target = folder or project.output.with_suffix("")
    return formats.export(project.output, names, target, options)


def explain(project: Project, marking_id: str) -> dict[str, Any]:
    """Everything known about one marking: its row, its rule, the settings in force there.

    Raises:
        InputError: no layout yet, or no such id.
    """
    table = write.read_layer(project.output, "markings")
    row = table[table["marking_id"] == marking_id]
    if row.empty:
        hint = nearest(marking_id, table["marking_id"]).split(" Valid:")[0]
        raise InputError(f"{project.output}: no marking {marking_id!r}.{hint}")
    record = {str(k): v for k, v in row.drop(columns="geometry").iloc[0].items()}
    setting = next(s for s in project.rules if s.name == record["rule"])
    design = check(project, lambda _: None).design
    return {"marking": record, "rule": setting, "params": rule_in_force(setting, design, record)}


def _stopped() -> Finding:
    text = "the search was stopped by hand; the tours are the best found until then"
    return Finding("search_stopped", "notice", "tours", "", text, "route again for better tours")


def _add_tours(project: Project, layout: Layout, planned: tour.TourTables, air_f: float) -> None:
    plane, settings = layout.inputs.plane, project.settings
    names = ("jobs", "visits", "tours", "unserved")
    tables: dict[str, Any] = {
        n: getattr(planned, n).set_crs(plane, allow_override=True) for n in names
    }
    sections = layout.sections
    tables["sections"] = sections
    tables["register_marks"] = layout.register_marks
    tables["quantities"] = quantities.summarise(layout.markings)
    tables["loads"] = loads_table(
        planned.tours, planned.jobs, sections, (settings.loads, settings.materials)
    )
    tables["materials"] = materials_table(sections, settings.materials, air_f)
    tables["findings"] = layers.findings_table(layout.findings, plane)
    crs = _output_crs(project, layout.inputs)
    write.write_package(project.output, tables, crs=crs, keep=project.output)


def _make_folder(folder: Path) -> None:
    """The output's own folder is made; one that lacks its parent is probably a slip of the pen."""
    if folder.parent.is_dir() and not folder.exists():
        try:
            folder.mkdir()
        except OSError as fault:
            raise OutputError(f"{folder}: cannot be made ({fault.strerror}).") from None


def _output_crs(project: Project, inputs: Inputs) -> pyproj.CRS:
    wanted = project.settings.project.crs
    return parse_crs(wanted, "project.crs") if wanted else inputs.source_crs


def _yard_xy(table: gpd.GeoDataFrame | None) -> tuple[float, float] | None:
    if table is None:
        return None
    places = [p for p in table.geometry if p is not None and not p.is_empty]
    return (float(places[0].centroid.x), float(places[0].centroid.y)) if places else None


def _layout_tables(
    project: Project, layout: Layout, started: float
) -> dict[str, gpd.GeoDataFrame | pd.DataFrame]:
    design, plane = layout.design, layout.inputs.plane
    return {
        "streets": layers.streets_table(design, plane),
        "intersections": layers.intersections_table(design, plane),
        "approaches": layers.approaches_table(design, plane),
        "markings": layout.markings,
        "quantities": quantities.summarise(layout.markings),
        "findings": layers.findings_table(layout.findings, plane),
        "run_info": layers.run_info(project, layout.inputs, layout.findings, started),
    }
