"""Cleaning of street lines: every code once, nothing dropped silently, nothing depends on order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import Row, Scene

from layoutgen.errors import Finding
from layoutgen.gis.clean import clean_streets, stable_id

with np.errstate(invalid="ignore"):
    NO_NUMBER = shapely.LineString([(0, 0), (np.nan, 3)])
GOOD: dict[str, Any] = {"segment_id": "ok", "at": "LINESTRING (0 0, 100 7)"}


def cleaned(*rows: Row) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    return clean_streets(Scene(rows).tables()["streets"])


def codes(findings: Sequence[Finding]) -> dict[str, int]:
    return dict(Counter(f.code for f in findings))


def test_good_rows_pass_untouched() -> None:
    table, findings = cleaned(GOOD, {"segment_id": "b", "at": "LINESTRING (9 50, 3 80, 1 99)"})
    assert findings == []
    assert table["segment_id"].tolist() == ["b", "ok"]
    assert table["source_id"].tolist() == ["b", "ok"]
    assert table.geometry.iloc[0].equals(shapely.from_wkt("LINESTRING (9 50, 3 80, 1 99)"))


@pytest.mark.parametrize(
    ("row", "code", "severity", "lost"),
    [
        ({"at": None}, "null_geometry", "error", 1),
        ({"at": "LINESTRING EMPTY"}, "null_geometry", "error", 1),
        ({"at": "POINT (3 4)"}, "not_a_line", "error", 1),
        ({"at": "POLYGON ((0 0, 9 0, 9 9, 0 0))"}, "not_a_line", "error", 1),
        ({"at": shapely.LineString([(0, 0), (np.inf, 3)])}, "bad_coordinates", "error", 1),
        pytest.param(
            {"at": NO_NUMBER},
            "bad_coordinates",
            "error",
            1,
        ),
        ({"status": "closed", "at": "LINESTRING (0 0, 50 90)"}, "closed_street", "notice", 1),
        ({"street_class": "path", "at": "LINESTRING (0 0, 50 90)"}, "path", "notice", 1),
        ({"at": "LINESTRING (5 5, 5.1 5.1)"}, "zero_length", "error", 1),
        ({"at": "LINESTRING (5 5, 5 5)"}, "zero_length", "error", 1),
        ({"at": "LINESTRING (100 7, 0 0)"}, "duplicate_line", "warning", 1),
        ({"at": "LINESTRING (0 9, 50 9, 50 9, 60 9)"}, "repeated_vertex", "notice", 0),
        ({"at": "MULTILINESTRING ((0 9, 50 9), (50 9, 99 1))"}, "multipart", "notice", 0),
        ({"segment_id": None, "at": "LINESTRING (0 9, 50 9)"}, "missing_id", "notice", 0),
        ({"segment_id": "ok", "at": "LINESTRING (0 9, 50 9)"}, "duplicate_id", "warning", 0),
    ],
)
def test_every_code_once(row: Row, code: str, severity: str, lost: int) -> None:
    table, findings = cleaned(GOOD, {"segment_id": "zz", **row})
    (found,) = findings
    assert (found.code, found.severity, found.source) == (code, severity, "streets")
    assert found.rows == lost
    assert len(table) == 2 - lost
    assert "ok" in set(table["segment_id"])
    if code != "path":  # paths are counted, not listed
        assert found.feature_id in ("zz", "ok") or code == "missing_id"
    assert found.text


def test_parts_that_touch_are_joined_and_others_become_rows() -> None:
    joined, _ = cleaned({"segment_id": "m", "at": "MULTILINESTRING ((50 9, 99 1), (0 9, 50 9))"})
    assert joined["segment_id"].tolist() == ["m"]
    assert joined.geometry.iloc[0].length == pytest.approx(50 + np.hypot(49, 8))
    assert joined.geometry.iloc[0].coords[0] == (0, 9)  # as digitised
    apart, found = cleaned({"segment_id": "m", "at": "MULTILINESTRING ((60 9, 99 1), (0 9, 50 9))"})
    assert sorted(apart["segment_id"]) == ["m/1", "m/2"]
    assert set(apart["source_id"]) == {"m"}
    assert codes(found) == {"multipart": 1}


def test_parts_drawn_against_each_other_stay_apart() -> None:
    """Joining them would turn one part round, and with it left and right."""
    table, _ = cleaned({"segment_id": "m", "at": "MULTILINESTRING ((0 9, 50 9), (99 1, 50 9))"})
    assert len(table) == 2


def test_all_ids_missing_is_one_finding() -> None:
    rows = [{"at": "LINESTRING (0 0, 100 7)"}, {"at": "LINESTRING (0 50, 100 7)"}]
    table, findings = cleaned(*rows)
    (found,) = findings
    assert (found.code, found.rows) == ("missing_id", 0)
    assert "2" in found.text
    assert table["segment_id"].is_unique


def test_made_ids_follow_the_line_not_its_direction_or_place_in_the_file() -> None:
    line = shapely.LineString([(3, 4), (55, 9), (80, 71)])
    assert stable_id(line) == stable_id(shapely.reverse(line))
    assert stable_id(line) != stable_id(shapely.LineString([(3, 4), (55, 10), (80, 71)]))
    assert stable_id(line).startswith("g")


def test_of_twins_the_first_id_stays() -> None:
    line = "LINESTRING (0 9, 50 9)"
    rows = [{"segment_id": i, "at": line} for i in ("q", "c", "x")]
    table, findings = cleaned(*rows)
    assert table["segment_id"].tolist() == ["c"]
    assert sorted(f.feature_id for f in findings) == ["q", "x"]
    assert {f.text for f in findings} == {"same line as c"}


@pytest.mark.xfail(strict=True, reason="open fault: a made id may be taken already")
def test_running_numbers_do_not_hit_other_ids() -> None:
    rows = [
        {"segment_id": "a", "at": "LINESTRING (0 0, 100 0)"},
        {"segment_id": "a", "at": "LINESTRING (0 50, 100 55)"},
        {"segment_id": "a~2", "at": "LINESTRING (0 90, 100 99)"},
    ]
    table, _ = cleaned(*rows)
    assert table["segment_id"].is_unique


@pytest.mark.parametrize(
    "parts",
    [
        "MULTILINESTRING ((0 9, 50 9), (60 9, 60.1 9))",
        "MULTILINESTRING ((0 0, 100 7), (60 9, 90 9))",
        "MULTILINESTRING ((0 9, 0.1 9), (60 9, 60.1 9))",
    ],
)
@pytest.mark.xfail(strict=True, reason="open fault: parts are counted, not rows")
def test_rows_of_several_parts_are_counted_once(parts: str) -> None:
    """One part is lost, or a twin, or all are lost: rows in = rows used + rows reported."""
    table, findings = cleaned(GOOD, {"segment_id": "zz", "at": parts})
    assert table["source_id"].nunique() + sum(f.rows for f in findings) == 2


LINES = st.sampled_from(
    [
        "LINESTRING (0 0, 90 5)",
        "LINESTRING (90 5, 0 0)",
        "LINESTRING (0 0, 40 0, 40 0, 80 9)",
        "LINESTRING (7 7, 7.2 7)",
        "LINESTRING (1 90, 80 30)",
        "LINESTRING EMPTY",
        "POINT (3 3)",
        "MULTILINESTRING ((0 20, 50 20), (50 20, 60 44))",
    ]
)
ROWS = st.fixed_dictionaries(
    {
        "segment_id": st.sampled_from(["a", "b", "c", None]),
        "at": LINES,
        "status": st.sampled_from(["open", "closed", None]),
        "street_class": st.sampled_from(["local", "path", None]),
    }
)


@settings(max_examples=60, deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=7), st.randoms(use_true_random=False))
def test_nothing_is_lost_and_order_does_not_matter(rows: list[Row], random: Any) -> None:
    table, findings = cleaned(*rows)
    assert len(table) + sum(f.rows for f in findings) == len(rows)
    assert shapely.is_valid(table.geometry).all()
    assert (shapely.get_type_id(table.geometry) == 1).all()
    assert table["segment_id"].is_unique
    mixed = list(rows)
    random.shuffle(mixed)
    again, others = cleaned(*mixed)
    assert codes(others) == codes(findings)
    assert again["segment_id"].tolist() == table["segment_id"].tolist()
    # of rows with one geometry and one id either direction may stay
    same = shapely.equals(again.geometry.to_numpy(), table.geometry.to_numpy())
    assert same.all()
