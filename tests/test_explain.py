"""`layoutgen explain`: why a marking is there must be the truth, for every marking there is."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from scenes import cross, design_of, project
from test_errors import GOOD, Done, call, streets

from layoutgen import pipeline
from layoutgen.export.formats import CAUTION
from layoutgen.markings.catalog import rule_catalog, standard_rows
from layoutgen.report import explanation, settings_lines
from layoutgen.settings import load_project, rule_in_force

#: a signal at the corner of the three streets of `test_errors.streets`
SIGNAL = '[inputs.controls]\nsource = "signs.gpkg"\n'
CASES = """
[rules.stop_line]
width = "18 in"
[[rules.stop_line.cases]]
where = { compass = "N" }
width = "12 in"
[rules.crosswalk]
at = ["signal"]
"""


def town(folder: Path, text: str = "") -> Path:
    """Three streets, a signal, and a layout of them."""
    streets(folder)
    place = gpd.points_from_xy([2000420], [700030])
    table = gpd.GeoDataFrame({"control": ["signal"]}, geometry=place, crs=2264)
    table.to_file(folder / "signs.gpkg")
    (folder / "p.toml").write_text(GOOD + SIGNAL + text)
    done = call(folder, "generate", "p.toml")
    assert done.returncode == 0, done.stderr
    return folder / "out.gpkg"


def explained(folder: Path, marking_id: str) -> Done:
    done = call(folder, "explain", "p.toml", marking_id)
    assert done.returncode == 0, done.stderr
    return done


def test_everything_that_is_known_of_a_stop_line(tmp_path: Path) -> None:
    markings = gpd.read_file(town(tmp_path), layer="markings")
    row = markings[markings["kind"] == "stop_line"].iloc[0]
    text = explained(tmp_path, row["marking_id"]).stdout
    assert text.startswith(f"{row['marking_id']}: stop_line, solid, white\n")
    assert f"street    {row['street']} ({row['segment_id']})" in text
    assert f"station {row['station_ft']:.1f} ft, offset {row['offset_ft']:.1f} ft" in text
    assert f"{row['area_sqft']:.2f} sq ft" in text
    assert "signal controls this approach (controls); 4 ft behind the crosswalk" in text
    # the row of the standard itself, with the section a planner can look up
    assert re.search(r"STOP-01 +Stop line width: 12-24 in \(3B\.19 P5, MUTCD 11th", text)
    assert "[rules.stop_line]" in text
    assert "width = 2 ft  # STOP-01" in text
    assert text.rstrip().endswith(CAUTION)


def test_settings_in_force_are_those_of_the_case_that_matched(tmp_path: Path) -> None:
    """The area tells the width that was painted, the text the width that was asked for."""
    markings = gpd.read_file(town(tmp_path, CASES), layer="markings")
    rows = markings[markings["kind"] == "stop_line"].to_dict("records")
    widths = {}
    for row in rows:
        told = re.search(r" width = ([\d.]+) ft", explained(tmp_path, row["marking_id"]).stdout)
        assert told is not None
        compass = row["marking_id"].split("/")[1].split("-")[-1]
        widths[compass] = float(told.group(1))
        across = row["area_sqft"] / widths[compass]
        # 11 ft of approach lanes, at most as much longer as a skew of 40 degrees makes it
        assert row["width_ft"] == pytest.approx(widths[compass])
        assert 10.0 < across < 18.0 / 0.766
    assert widths["N"] == pytest.approx(1.0)
    assert {w for c, w in widths.items() if c != "N"} == {1.5}


def test_every_marking_can_be_explained(tmp_path: Path) -> None:
    """Each names rows of the standard and settings of its own rule."""
    path = town(tmp_path, '[rules.crosswalk]\nat = ["every_leg"]\n[defaults.local]\n'
                          'center_line = "broken"\n')  # fmt: skip
    own = load_project(tmp_path / "p.toml")
    markings = gpd.read_file(path, layer="markings")
    assert set(markings["kind"]) == {"crosswalk", "stop_line", "center_line"}
    for marking_id in markings["marking_id"]:
        found = pipeline.explain(own, marking_id)
        text = explanation(found)
        assert found["rule"].name == found["marking"]["rule"]
        assert isinstance(found["params"], rule_catalog()[found["rule"].name].params)
        assert "row not in the table" not in text
        assert all(name in standard_rows() for name in found["marking"]["sources"].split(", "))


def test_unknown_id_names_the_nearest(tmp_path: Path) -> None:
    markings = gpd.read_file(town(tmp_path), layer="markings")
    good = str(markings["marking_id"].iloc[-1])
    done = call(tmp_path, "explain", "p.toml", good[:-1] + "9")
    assert (done.returncode, done.stdout) == (1, "")
    told = re.search(r"Did you mean '([^']+)'\?", done.stderr)
    assert told is not None
    assert told.group(1) in set(markings["marking_id"])
    assert "Valid:" not in done.stderr  # a town has thousands of ids


def test_rule_in_force_of_a_block_marking() -> None:
    """A rule on blocks is looked up by the segment."""
    rules = {
        "center_line": {
            "cases": [{"where": {"street_class": "arterial"}, "line_width": "6 in"}],
        }
    }
    design, _ = design_of(cross(rules=rules))
    own = project({"rules": rules})
    setting = next(s for s in own.rules if s.name == "center_line")
    width: dict[str, Any] = {}
    for segment_id in ("a1", "b1"):
        record = {"marking_id": f"center_line/{segment_id}/1", "segment_id": segment_id}
        width[segment_id] = rule_in_force(setting, design, record).model_dump()["line_width_ft"]
    assert width == {"a1": pytest.approx(0.5), "b1": pytest.approx(4 / 12)}


def test_settings_lines_carry_unit_and_source() -> None:
    params = rule_catalog()["stop_line"].params()
    lines = settings_lines(params)
    assert "crosswalk_gap = 4 ft  # STOP-02" in lines
    assert 'at = ["signal", "stop"]  # STOP-06' in lines
    assert "enabled = true  # design" in lines
