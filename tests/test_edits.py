"""What is changed by hand in the GeoPackage: kept, told, never lost in silence."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import shapely
from test_properties import DEMO, town

from layoutgen.edits import as_stored, with_kept_actions
from layoutgen.gis.far import far_inputs
from layoutgen.markings.idle_cases import idle_cases
from layoutgen.settings import load_project


def markings(actions: dict[str, str]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"marking_id": list(actions), "action": list(actions.values())},
        geometry=[shapely.box(0, 0, 1, 1)] * len(actions),
    )


def test_actions_of_the_file_count_and_wrong_ones_are_told() -> None:
    fresh = markings({"a": "new", "b": "new", "c": "new"})
    stored = markings({"a": "keep", "b": "kep", "z": "new"})
    kept, findings = as_stored(fresh, stored)
    assert dict(zip(kept["marking_id"], kept["action"], strict=True)) == {"a": "keep", "b": "new"}
    assert [(f.code, f.feature_id) for f in findings] == [
        ("marking_outdated", "z"),
        ("action_unknown", "b"),
    ]


def test_a_first_layout_has_no_actions_to_keep(tmp_path: Path) -> None:
    fresh = markings({"a": "new"})
    same, findings = with_kept_actions(fresh, tmp_path / "none.gpkg")
    assert same["action"].tolist() == ["new"]
    assert findings == []


def test_a_case_that_fits_no_place_is_told(tmp_path: Path) -> None:
    path = tmp_path / "typo.toml"
    path.write_text(
        f'extends = "{DEMO.resolve().as_posix()}"\n'
        '[[rules.stop_line.cases]]\nwhere = { name = "Breakwater Avenue" }\nwidth = "12 in"\n'
        '[[rules.stop_line.cases]]\nwhere = { name = "Breakwater Avenu" }\nwidth = "18 in"\n',
        encoding="utf-8",
    )
    found = idle_cases(town().design, load_project(path).rules)
    own = [f for f in found if f.feature_id.startswith("rules.stop_line")]
    assert [(f.code, f.severity, f.feature_id) for f in own] == [
        ("case_matches_nothing", "notice", "rules.stop_line.cases[1]")
    ]
    assert "Breakwater Avenu'" in own[0].text


def points(*xy: tuple[float, float]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=[shapely.Point(one) for one in xy])


def test_an_input_far_from_all_streets_is_told_and_one_stray_row_is_not() -> None:
    streets = gpd.GeoDataFrame(geometry=[shapely.LineString([(0, 0), (3000, 0)])])
    tables = {
        "streets": streets,
        "yard": points((5280.0 * 40, 0.0)),
        "controls": points((0.0, 10.0), (3000.0, 10.0), (1e7, 1e7)),
        "schools": streets.iloc[:0],
    }
    (finding,) = far_inputs(tables)
    assert (finding.code, finding.source) == ("far_from_streets", "yard")
    assert "1 of 1 rows lie about 39 miles" in finding.text
    assert far_inputs({}) == []
