"""Names that users and other programs rely on: nothing vanishes or appears unseen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from layoutgen.config import Params
from layoutgen.export.formats import FORMATS
from layoutgen.gis.roles import ROLES
from layoutgen.gis.schema import LAYERS
from layoutgen.markings.catalog import rule_catalog
from layoutgen.settings import SettingsBase, settings_model
from layoutgen.work.materials import MaterialParams

CASES = Path(__file__).parent / "cases"


def test_every_rule_has_a_case_file_and_the_other_way_round() -> None:
    assert {p.stem for p in CASES.glob("*.toml")} == set(rule_catalog())


def test_layers_and_roles() -> None:
    assert [layer.name for layer in LAYERS] == [
        "streets",
        "intersections",
        "approaches",
        "markings",
        "findings",
        "run_info",
        "sections",
        "register_marks",
        "quantities",
        "materials",
        "jobs",
        "visits",
        "tours",
        "loads",
        "records",
        "unserved",
    ]
    names = [role.name for role in ROLES]
    assert names == [
        "streets",
        "intersections",
        "controls",
        "crossing_points",
        "schools",
        "bike_facilities",
        "parking",
        "curbs",
        "curb_ramps",
        "islands",
        "crosswalks",
        "speed",
        "lanes",
        "width",
        "districts",
        "exclusions",
        "rail_crossings",
        "speed_humps",
        "legends",
        "curb_zones",
        "curb_points",
        "yard",
        "layout",
    ]


def test_formats() -> None:
    assert sorted(FORMATS) == ["csv", "geojson", "gpx", "kml"]


def test_no_two_settings_of_a_table_share_a_key() -> None:
    for model in all_models():
        keys = [field.alias or name for name, field in model.model_fields.items()]
        assert len(keys) == len(set(keys)), model.__name__


def test_every_setting_names_its_source() -> None:
    for model in all_models():
        for name, field in model.model_fields.items():
            extra = field.json_schema_extra
            assert isinstance(extra, dict), f"{model.__name__}.{name}"
            assert extra.get("source"), f"{model.__name__}.{name}"


def all_models() -> list[type[Params]]:
    """Every settings model of every stage and rule."""
    stages = [f.annotation for n, f in SettingsBase.model_fields.items() if n != "inputs"]
    models = [one for stage in stages for one in with_inner(stage)]
    return [*models, MaterialParams, *(rule.params for rule in rule_catalog().values())]


def with_inner(model: Any) -> list[type[Params]]:
    """A settings table, or the tables within it where it holds nothing else."""
    if not (isinstance(model, type) and issubclass(model, Params)):
        return []
    inner = [one for f in model.model_fields.values() for one in with_inner(f.annotation)]
    return inner or [model]


def test_settings_model_builds_once() -> None:
    assert settings_model() is settings_model()
