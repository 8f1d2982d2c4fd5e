"""The project file as a whole: settings of all stages in one model, loaded and checked."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, create_model

from layoutgen.config import Params, Raw, choice, merge, nearest, number, read_raw, validate, where
from layoutgen.errors import ConfigError
from layoutgen.gis.plane import parse_crs
from layoutgen.gis.read import InputParams
from layoutgen.gis.roles import ROLES, STREET_CLASSES, role
from layoutgen.markings.audit import AuditParams
from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.markings.engine import RuleSetting
from layoutgen.markings.exclusions import ExclusionParams, Exclusions
from layoutgen.markings.jurisdiction import jurisdictions
from layoutgen.markings.marking import Rule, RuleParams
from layoutgen.markings.symbols import Figure
from layoutgen.markings.symbols.own import SymbolParams, file_digest_parts, own_figures
from layoutgen.street.controls import ControlParams
from layoutgen.street.cross_section import ClassDefaults
from layoutgen.street.crossing_points import CrossingParams
from layoutgen.street.curb_side import StripParams
from layoutgen.street.curb_uses import CurbUseParams
from layoutgen.street.curbs import CurbParams
from layoutgen.street.design import Design
from layoutgen.street.districts import DistrictParams
from layoutgen.street.existing import ExistingParams
from layoutgen.street.features import FeatureParams
from layoutgen.street.intersection import IntersectionParams
from layoutgen.street.legs import intersection_attributes, leg_attributes
from layoutgen.street.network import NetworkParams
from layoutgen.street.overlap import ConflationParams
from layoutgen.street.params import PocketParams, SchoolParams, StreetParams
from layoutgen.street.ramps import RampParams
from layoutgen.street.rings import RingParams
from layoutgen.street.segments import segment_attributes
from layoutgen.tours.tour import TourParams, TruckParams
from layoutgen.tours.travel import TravelParams
from layoutgen.where_names import check_where
from layoutgen.work.jobs import JobParams
from layoutgen.work.loads import LoadParams
from layoutgen.work.materials import SHIPPED, MaterialParams, faults
from layoutgen.work.quantities import PAINT_WHERE, PaintParams
from layoutgen.work.reach import TruckModel
from layoutgen.work.time import CrewParams
from layoutgen.work.traffic_control import TrafficControlParams
from layoutgen.work.weather import WeatherParams

#: where the class defaults differ from `ClassDefaults` ("from memory": a planner edits them)
CLASS_TABLES: Mapping[str, Mapping[str, Any]] = {
    "freeway": {"lanes": 4, "lanes_oneway": 2, "lane_width": "12 ft", "speed": "60 mph"},
    "ramp": {"lanes": 2, "lane_width": "12 ft", "speed": "40 mph"},
    "arterial": {
        "lanes": 4,
        "lanes_oneway": 2,
        "roadway_oneway": "32 ft",
        "roadway_divided": "66 ft",
        "center_line": "double_solid",
        "speed": "35 mph",
    },
    "collector": {
        "roadway_width": "36 ft",
        "roadway_oneway": "28 ft",
        "center_line": "double_solid",
        "speed": "30 mph",
    },
    "local": {
        "roadway_width": "30 ft",
        "roadway_oneway": "24 ft",
        "center_line": "none",
        "speed": "25 mph",
    },
    "alley": {"lanes_oneway": 1, "lane_width": "9 ft", "speed": "15 mph"},
    "path": {"lane_width": "8 ft", "speed": "15 mph"},
}


class ProjectParams(Params):
    """`[project]`: what this is, where it goes."""

    name: str = choice("layout", source="design", text="name of the project")
    output: str = choice("layout.gpkg", source="design", text="GeoPackage to write")
    crs: str = choice("", source="design", text="CRS of the output; empty = that of the streets")
    units: Literal["ft", "m"] = choice("ft", source="design", text="units of the summary")
    driving_side: Literal["right", "left"] = choice(
        "right", source="design", text="side of the road traffic keeps to"
    )
    seed: int = number(1, low=0, high=2**31 - 1, source="design", text="seed of the tour search")


class PaperParams(Params):
    """`[papers]`: what crew papers and the work zone feed ask."""

    size: Literal["letter", "a4"] = choice("letter", source="design", text="paper of the crew")
    publisher: str = choice(
        "publisher not named", source="design", text="organization that answers for the feed"
    )
    utc_offset_hours: float = number(
        0.0, low=-12.0, high=14.0, source="design", unit="h", text="local clock ahead of UTC"
    )


class SettingsBase(Params):
    """All tables of a project file but the rules."""

    project: ProjectParams = ProjectParams()
    inputs: dict[str, InputParams] = Field(default_factory=dict)
    defaults: dict[str, ClassDefaults] = Field(default_factory=dict)
    network: NetworkParams = NetworkParams()
    cross_section: StripParams = StripParams()
    controls: ControlParams = ControlParams()
    intersection: IntersectionParams = IntersectionParams()
    school_zone: SchoolParams = SchoolParams()
    turn_pocket: PocketParams = PocketParams()
    curbs: CurbParams = CurbParams()
    curb_ramps: RampParams = RampParams()
    crosswalks: ExistingParams = ExistingParams()
    roundabouts: RingParams = RingParams()
    districts: DistrictParams = DistrictParams()
    features: FeatureParams = FeatureParams()
    curb_uses: CurbUseParams = CurbUseParams()
    exclusions: ExclusionParams = ExclusionParams()
    symbols: dict[str, SymbolParams] = Field(default_factory=dict)
    audit: AuditParams = AuditParams()
    conflation: ConflationParams = ConflationParams()
    crossing_points: CrossingParams = CrossingParams()
    paint: PaintParams = PaintParams()
    materials: dict[str, MaterialParams] = Field(default_factory=dict)
    truck: TruckModel = TruckModel()
    weather: WeatherParams = WeatherParams()
    traffic_control: TrafficControlParams = TrafficControlParams()
    loads: LoadParams = LoadParams()
    papers: PaperParams = PaperParams()
    crew: CrewParams = CrewParams()
    jobs: JobParams = JobParams()
    travel: TravelParams = TravelParams()
    trucks: TruckParams = TruckParams()
    tours: TourParams = TourParams()


@dataclass(frozen=True)
class Project:
    """A checked project file."""

    path: Path
    settings: SettingsBase
    rules: tuple[RuleSetting, ...]
    settings_hash: str
    figures: Mapping[str, Figure] = field(default_factory=dict)

    @property
    def output(self) -> Path:
        return Path(self.settings.project.output)


@cache
def settings_model() -> type[SettingsBase]:
    """The whole settings model, with one table per rule in the catalog."""
    tables: dict[str, Any] = {}
    for name, rule in rule_catalog().items():
        tables[name] = (rule_table(name, rule), Field(default_factory=rule_table(name, rule)))
    rules = create_model("Rules", __base__=Params, **tables)
    return create_model(
        "Settings", __base__=SettingsBase, rules=(rules, Field(default_factory=rules))
    )


@cache
def rule_table(name: str, rule: Rule) -> type[RuleParams]:
    """`[rules.<name>]`: the rule's settings and its cases."""
    cases = (list[dict[str, Any]], choice([], source="design", text="first match wins"))
    fields: Any = {"cases": cases}
    return create_model(f"{name}_table", __base__=rule.params, **fields)


def load_project(path: Path) -> Project:
    """Read and check a project file.

    Raises:
        ConfigError: every fault, one line each, with file, line and key.
    """
    return project_of(read_raw(path), path)


def project_of(raw: Raw, path: Path) -> Project:
    """Project from merged TOML.

    Raises:
        ConfigError: as `load_project`.
    """
    _refuse_unknown_classes(raw)
    raw = _with_shared_sources(raw)
    shipped = {
        "defaults": {k: dict(v) for k, v in CLASS_TABLES.items()},
        "materials": {k: dict(v) for k, v in SHIPPED.items()},
    }
    table = merge(shipped, raw.table)
    settings = validate(settings_model(), raw, table)
    if "streets" not in settings.inputs:
        raise ConfigError(
            f"{raw.place(('inputs',))}: inputs.streets: this input is required. "
            'Add [inputs.streets] with source = "FILE".'
        )
    if settings.project.crs:
        parse_crs(settings.project.crs, raw.place(("project", "crs")) + ": project.crs")
    _check_values(settings, raw)
    _check_audit(settings.audit, raw)
    _check_materials(settings, raw)
    output = _default_output(settings, path)
    _refuse_output(output, raw)
    own = _own_figures(settings, raw)
    rules = tuple(
        _drawing(_rule_setting(name, rule, settings, raw), own)
        for name, rule in rule_catalog().items()
    )
    text = json.dumps(settings.model_dump(mode="json"), sort_keys=True)
    drawn = b"".join(file_digest_parts(settings.symbols))
    digest = hashlib.sha256(text.encode() + drawn).hexdigest()[:16]
    return Project(path, output, rules, digest, own)


def json_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the project file, for editors."""
    schema = settings_model().model_json_schema(by_alias=True)
    _measures_as_text(schema)
    schema["properties"]["extends"] = {"description": "base file or files", "anyOf": [
        {"type": "string"}, {"type": "array", "items": {"type": "string"}}]}  # fmt: skip
    return schema


def rule_in_force(setting: RuleSetting, design: Design, record: Mapping[str, Any]) -> RuleParams:
    """Settings of a rule at the site of a marking (a row of layer `markings`)."""
    stem = str(record["marking_id"])
    if setting.rule.on == "intersection":
        own = (c for c in design.intersections if c.intersection_id == record["intersection_id"])
        found = next(own, None)
        return setting.params(intersection_attributes(found)) if found else setting.base
    leg = next((x for x in design.legs() if f"/{x.leg_id}/" in stem), None)
    if leg is not None and setting.rule.on != "block":
        return setting.params(leg_attributes(leg))
    segment = next((s for s in design.segments if s.segment_id == record["segment_id"]), None)
    return setting.params(segment_attributes(segment)) if segment else setting.base


def _measures_as_text(node: Any) -> None:
    """Numbers that carry a unit are texts in the file: say so, with the unit and the range."""
    if isinstance(node, list):
        for item in node:
            _measures_as_text(item)
    if not isinstance(node, dict):
        return
    if node.get("dimension", "number") != "number":
        node.update(type="string", description=f"{node.get('description', '')} ({node['range']})")
        node["default"] = node.pop("default", "")
    for item in node.values():
        _measures_as_text(item)


def street_params(settings: SettingsBase) -> StreetParams:
    """Settings of the street stage."""
    return StreetParams(
        settings.defaults,
        settings.network,
        settings.cross_section,
        settings.controls,
        settings.intersection,
        settings.school_zone,
        settings.turn_pocket,
        settings.curbs,
        settings.curb_ramps,
        settings.conflation,
        settings.crossing_points,
        settings.project.driving_side,
        settings.crosswalks,
        settings.roundabouts,
        settings.districts,
        settings.features,
        settings.curb_uses,
    )


def exclusions_of(design: Design, settings: SettingsBase) -> Exclusions:
    """Areas without markings, with their settings."""
    return Exclusions(design.exclusions, settings.exclusions.shortest_ft, design.islands)


def _with_shared_sources(raw: Raw) -> Raw:
    """Settings in which a role that shares the file of another names that file itself."""
    table = merge(raw.table, {})
    roles = table.get("inputs", {})
    for spec in roles.values() if isinstance(roles, dict) else ():
        if not isinstance(spec, dict) or "source" in spec:
            continue
        if spec is roles.get("layout") and "source_of" not in spec:
            spec["source"] = ""  # the command line names the file
        shared = roles.get(spec.get("source_of", ""))
        if isinstance(shared, dict) and "source" in shared:
            spec["source"] = shared["source"]
    return replace(raw, table=table)


def _default_output(settings: SettingsBase, path: Path) -> SettingsBase:
    """Output beside the project file where it names none with a folder."""
    output = Path(settings.project.output)
    if output.is_absolute():
        return settings
    placed = settings.project.model_copy(update={"output": str(path.resolve().parent / output)})
    return settings.model_copy(update={"project": placed})


def _refuse_output(settings: SettingsBase, raw: Raw) -> None:
    """The output must be a GeoPackage, and never a file that is read."""
    place = raw.place(("project", "output"))
    out = Path(settings.project.output)
    if out.suffix.lower() != ".gpkg":
        raise ConfigError(f"{place}: project.output: {out.name} must end in .gpkg.")
    for name, spec in settings.inputs.items():
        if not role(name).on_request and Path(spec.source).resolve() == out.resolve():
            raise ConfigError(
                f"{place}: project.output: {out.name} is the source of inputs.{name} and would be "
                "overwritten. Name another file."
            )


def _refuse_unknown_classes(raw: Raw) -> None:
    table = raw.table.get("defaults", {})
    for name in table if isinstance(table, dict) else ():
        if name not in STREET_CLASSES:
            place = raw.place(("defaults", name))
            text = nearest(name, STREET_CLASSES)
            raise ConfigError(f"{place}: defaults.{name}: no such street class.{text}")
    roles = raw.table.get("inputs", {})
    for name in roles if isinstance(roles, dict) else ():
        if name not in [r.name for r in ROLES]:
            place = raw.place(("inputs", name))
            text = nearest(name, [r.name for r in ROLES])
            raise ConfigError(f"{place}: inputs.{name}: no such input role.{text}")


def _rule_setting(name: str, rule: Rule, settings: Any, raw: Raw) -> RuleSetting:
    table = getattr(settings.rules, name)
    own = raw.table.get("rules", {}).get(name, {})
    base = {k: v for k, v in own.items() if k != "cases"}
    cases = []
    for i, case in enumerate(table.cases):
        changes = {k: v for k, v in case.items() if k != "where"}
        check_where(case, rule, raw, ("rules", name, "cases", i))
        params = _case_params(rule, base | changes, raw, ("rules", name, "cases", i))
        cases.append((where(case["where"]), params))
    return RuleSetting(name, rule, validate(rule.params, raw, base, ("rules", name)), tuple(cases))


def _own_figures(settings: SettingsBase, raw: Raw) -> dict[str, Figure]:
    """Figures that the project draws itself; all faults are told at once."""
    read = own_figures(settings.symbols)
    faults = [
        f"{raw.place(('symbols', name))}: symbols.{name}: {fault}"
        for name, fault in read.items()
        if not isinstance(fault, Figure)
    ]
    if faults:
        raise ConfigError("\n".join(faults))
    return {name: figure for name, figure in read.items() if isinstance(figure, Figure)}


def _drawing(setting: RuleSetting, own: Mapping[str, Figure]) -> RuleSetting:
    """The rule's settings, all of which draw the project's own figures."""
    if not own:
        return setting
    cases = tuple((where_, params.with_figures(own)) for where_, params in setting.cases)
    return replace(setting, base=setting.base.with_figures(own), cases=cases)


def _case_params(rule: Rule, table: Mapping[str, Any], raw: Raw, path: Any) -> RuleParams:
    """Settings of one case; faults are told with the case's own place in the file."""
    return validate(rule.params, raw, table, path)


def _check_audit(params: AuditParams, raw: Raw) -> None:
    """Names of rows and jurisdictions must be there, and no row may be told in two ways."""
    lists = {name: getattr(params, name) for name in ("rows_off", "errors", "warnings", "notices")}
    known = {**dict.fromkeys(lists, tuple(standard_rows())), "jurisdictions": jurisdictions()}
    for name, allowed in known.items():
        place = f"{raw.place(('audit', name))}: audit.{name}"
        for one in getattr(params, name):
            if one not in allowed:
                raise ConfigError(f"{place}: '{one}' is not known.{nearest(one, allowed)}")
    told = [row for name in ("errors", "warnings", "notices") for row in set(lists[name])]
    twice = sorted({row for row in told if told.count(row) > 1})
    if twice:
        place = raw.place(("audit", "notices"))
        raise ConfigError(f"{place}: audit: {twice[0]} is told in two ways. Keep one of them.")


def _check_materials(settings: SettingsBase, raw: Raw) -> None:
    """Materials must fit together, and `[paint]` must name materials and attributes that exist."""
    told = [
        f"{raw.place(('materials', name))}: materials.{name}: {fault}"
        for name, params in settings.materials.items()
        for fault in faults(params)
    ]
    for i, case in enumerate(settings.paint.cases):
        place = f"{raw.place(('paint', 'cases'))}: paint.cases[{i}]"
        if not isinstance(case.get("where"), dict) or set(case) != {"where", "material"}:
            told.append(f'{place}: needs where = {{ ... }} and material = "NAME", nothing else.')
            continue
        bad = [name for name in case["where"] if name not in PAINT_WHERE]
        told += [f"{place}: where.{n}: no such attribute.{nearest(n, PAINT_WHERE)}" for n in bad]
    for name in settings.paint.names():
        if name not in settings.materials:
            hint = nearest(name, tuple(settings.materials))
            told.append(f"{raw.place(('paint',))}: paint: no material '{name}'.{hint}")
    if told:
        raise ConfigError("\n".join(told))


def _check_values(settings: SettingsBase, raw: Raw) -> None:
    """Our side of every code must be a word of ours, or empty for unknown."""
    for name, spec in settings.inputs.items():
        fields = {fld.name: fld for fld in role(name).fields}
        for column, codes in spec.values.items():
            fld = fields.get(column)
            for code, ours in codes.items() if fld and fld.type == "choice" else ():
                if fld and ours != "" and str(ours) not in fld.choices:
                    key = ("inputs", name, "values", column, code)
                    text = nearest(str(ours), fld.choices)
                    raise ConfigError(
                        f"{raw.place(key)}: {'.'.join(key)}: '{ours}' is no value of "
                        f"{column}.{text} Allowed: {', '.join(fld.choices)}; empty = unknown."
                    )
