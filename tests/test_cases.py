"""Rule cases are data: scene and settings -> markings in the trade's coordinates.

`LAYOUTGEN_ACCEPT=1 pytest tests/test_cases.py` writes what the rules now give into the case files;
read the difference before you keep it.
"""

from __future__ import annotations

import os
import tomllib
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
    markings, _, _ = layout_of(SCENES[case["scene"]](**case.get("settings", {})))
    own = markings[markings["rule"] == rule]
    rows = [
        [row["marking_id"], *(_plain(row[c]) for c in COLUMNS)] for row in own.to_dict("records")
    ]
    shape = own.geometry.iloc[0] if len(own) else None
    return rows, shapely.to_wkt(shape, rounding_precision=2) if shape is not None else ""


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
        assert own.symmetric_difference(told).area < 0.02 * max(1.0, own.length / 20)


def test_every_setting_of_every_rule_is_tried() -> None:
    """A setting that no case changes could do nothing, unseen."""
    for rule in rule_catalog():
        keys = {
            str(field.alias or name)
            for name, field in rule_catalog()[rule].params.model_fields.items()
        }
        tried: set[str] = set()
        for case in read(rule)["case"]:
            table = case.get("settings", {}).get("rules", {}).get(rule, {})
            tried |= set(table)
        assert keys <= tried, f"{rule}: no case tries {sorted(keys - tried)}"


def test_settings_of_cases_make_a_difference() -> None:
    """Every case that changes a setting gives another result than the defaults."""
    for rule, number in all_cases():
        case = read(rule)["case"][number]
        if case.get("settings"):
            plain, shape = outcome(rule, {"scene": case["scene"]})
            changed, other = outcome(rule, case)
            assert (plain, shape) != (changed, other), f"{rule}: {case['name']}"


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
