"""Rule cases are data: scene and settings -> markings in the trade's coordinates.

`LAYOUTGEN_ACCEPT=1 pytest tests/test_cases.py` writes what the rules now give into the case files;
read the difference before you keep it.
"""

from __future__ import annotations

import copy
import json
import os
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import shapely
from scenes import SCENES, layout_of

from layoutgen.markings.catalog import rule_catalog
from layoutgen.report import toml_value

CASES = Path(__file__).parent / "cases"
COLUMNS = ("style", "station_ft", "offset_ft", "bearing_deg", "area_sqft")
TOLERANCE = 0.01


def all_cases() -> list[tuple[str, int]]:
    """(file stem, number of the case) of every case."""
    out = []
    for path in sorted(CASES.glob("*.toml")):
        out += [(path.stem, i) for i in range(len(read(path.stem)["case"]))]
    return out


def read(rule: str) -> dict[str, Any]:
    return tomllib.loads((CASES / f"{rule}.toml").read_text(encoding="utf-8"))


def outcome(rule: str, case: dict[str, Any]) -> tuple[list[list[Any]], str]:
    """(rows: id and columns, WKT of the first marking) that the rule gives."""
    return _outcome(rule, case["scene"], json.dumps(case.get("settings", {})))[:2]


def in_color(rule: str, case: dict[str, Any]) -> tuple[list[list[Any]], str, list[str]]:
    """The same with the color of every row, which the case files do not hold."""
    return _outcome(rule, case["scene"], json.dumps(case.get("settings", {})))


@cache
def _outcome(rule: str, scene: str, settings: str) -> tuple[list[list[Any]], str, list[str]]:
    markings, _, _ = layout_of(SCENES[scene](**json.loads(settings)))
    own = markings[markings["rule"] == rule]
    rows = [
        [row["marking_id"], *(_plain(row[c]) for c in COLUMNS)] for row in own.to_dict("records")
    ]
    shape = own.geometry.iloc[0] if len(own) else None
    wkt = shapely.to_wkt(shape, rounding_precision=2) if shape is not None else ""
    return rows, wkt, own["color"].to_list()


@pytest.mark.parametrize(("rule", "number"), all_cases())
def test_case(rule: str, number: int) -> None:
    case = read(rule)["case"][number]
    rows, wkt = outcome(rule, case)
    if os.environ.get("LAYOUTGEN_ACCEPT"):
        accept(rule)
        return
    assert [row[:2] for row in rows] == [row[:2] for row in case["expected"]], case["name"]
    for got, wanted in zip(rows, case["expected"], strict=True):
        assert got[2:] == pytest.approx(wanted[2:], abs=TOLERANCE), got[0]
    if case.get("wkt"):
        own, told = shapely.from_wkt(wkt), shapely.from_wkt(case["wkt"])
        # both rounded to 0.01 ft, so one step each way and the diagonal of it
        assert own.boundary.hausdorff_distance(told.boundary) <= 0.0142


def test_one_case_of_every_rule_shows_its_outline() -> None:
    for rule in rule_catalog():
        assert any(case.get("wkt") for case in read(rule)["case"]), rule


def test_scenes_and_names_are_right() -> None:
    """A name tells cases apart in a failure; a scene that is misspelled would be no case."""
    for rule in rule_catalog():
        cases = read(rule)["case"]
        assert {case["scene"] for case in cases} <= set(SCENES)
        names = [case["name"] for case in cases]
        assert len(names) == len(set(names))


def settings_of(rule: str) -> set[str]:
    fields = rule_catalog()[rule].params.model_fields.items()
    return {str(field.alias or name) for name, field in fields}


@pytest.mark.parametrize("rule", rule_catalog())
def test_every_setting_changes_something_in_some_case(rule: str) -> None:
    """A setting that no case changes, or that changes nothing, could be dead, unseen."""
    alive: set[str] = set()
    for case in read(rule)["case"]:
        own = case.get("settings", {}).get("rules", {}).get(rule, {})
        alive |= {key for key in own if key not in alive and matters(rule, case, key)}
    assert alive == settings_of(rule), f"{rule}: dead in all cases or not tried"


def matters(rule: str, case: dict[str, Any], key: str) -> bool:
    """Whether the case gives something else without one of its settings."""
    without = copy.deepcopy(case)
    del without["settings"]["rules"][rule][key]
    return in_color(rule, case) != in_color(rule, without)


@pytest.mark.parametrize("rule", rule_catalog())
def test_settings_of_cases_make_a_difference(rule: str) -> None:
    """Every case that changes a setting gives another result than the defaults, or than without
    one of its settings: a family that is off unless asked for may be switched off once more."""
    for case in read(rule)["case"]:
        if case.get("settings"):
            own = case["settings"].get("rules", {}).get(rule, {})
            plain = in_color(rule, {"scene": case["scene"]})
            differs = in_color(rule, case) != plain
            assert differs or any(matters(rule, case, key) for key in own), case["name"]


def accept(rule: str) -> None:
    """Write the file anew with what the rule now gives; comments at its head are kept."""
    path = CASES / f"{rule}.toml"
    text = path.read_text(encoding="utf-8")
    head = text[: text.index("[[case]]")]
    parts = [head.rstrip() + "\n"]
    for case in tomllib.loads(text)["case"]:
        rows, wkt = outcome(rule, case)
        parts.append(_case_text(case, rows, wkt if case.get("wkt") is not None else None))
    path.write_text("\n".join(parts), encoding="utf-8")


def _case_text(case: dict[str, Any], rows: list[list[Any]], wkt: str | None) -> str:
    lines = ["[[case]]", f"name = {toml_value(case['name'])}", f'scene = "{case["scene"]}"']
    for table, keys in sorted(_flat(case.get("settings", {})).items()):
        lines += [f"settings.{table}.{key} = {toml_value(v)}" for key, v in keys.items()]
    lines.append("expected = [")
    lines += ["  [" + ", ".join(_cell(v) for v in row) + "]," for row in rows]
    lines.append("]")
    if wkt is not None:
        lines.append(f'wkt = "{wkt}"')
    return "\n".join(lines) + "\n"


def _flat(table: dict[str, Any], stem: str = "") -> dict[str, dict[str, Any]]:
    """Tables of settings by their dotted name."""
    out: dict[str, dict[str, Any]] = {}
    for key, value in table.items():
        name = f"{stem}.{key}".lstrip(".")
        if isinstance(value, dict):
            out |= _flat(value, name)
        else:
            out.setdefault(stem, {})[key] = value
    return out


def _plain(value: Any) -> Any:
    return value if isinstance(value, str) else round(float(value), 3)


def _cell(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value)
