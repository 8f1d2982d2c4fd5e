"""Districts: who is inside, what is left out, and the label that everything carries."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import shapely
from scenes import PLANE, Scene, cross, design_of, layout_of, project
from shapely import affinity

from layoutgen import layers
from layoutgen.markings.engine import leg_policy
from layoutgen.settings import street_params
from layoutgen.street.areas import read_areas
from layoutgen.street.build import build_design

Row = Mapping[str, Any]
#: around the crossing of `scenes.cross` at (100, 50)
WEST = "POLYGON ((-400 -500, 95 -500, 95 600, -400 600, -400 -500))"
EAST = "POLYGON ((105 -500, 700 -500, 700 600, 105 600, 105 -500))"
ALL = "POLYGON ((-900 -900, 900 -900, 900 900, -900 900, -900 -900))"


def within(*districts: Row, **settings: Any) -> Scene:
    """Streets a1 (west), a2 (east), b1 (south west), b2 (north east) meet in (100, 50)."""
    return replace(cross(**settings), more={"districts": districts})


def labels(scene: Scene) -> dict[str, str | None]:
    """Segment -> label; None = outside."""
    design, _ = design_of(scene)
    return {s.segment_id: None if s.outside else s.district for s in design.segments}


def test_without_districts_everything_is_inside_and_unlabelled() -> None:
    markings, design, _ = layout_of(cross())
    assert set(markings["district"]) == {""}
    assert len(design.in_layout()) == 4
    assert not any(s.outside or s.district for s in design.segments)


def test_a_street_belongs_to_the_district_of_its_middle() -> None:
    west = {"district_id": "w", "name": "West Ward", "at": WEST}
    east = {"district_id": "e", "at": EAST}
    wanted = {"a1": "West Ward", "b1": "West Ward", "a2": "e", "b2": "e"}
    assert labels(within(west, east)) == wanted
    assert labels(within(east, west)) == wanted


def test_streets_outside_are_left_out_with_one_finding_and_legs_stay_whole() -> None:
    full, _, _ = layout_of(cross())
    markings, design, found = layout_of(within({"district_id": "w", "at": WEST}))
    # the node is 5 ft from the border, within the margin: all its legs keep their markings
    at_node = full[full["intersection_id"] != ""]["marking_id"]
    assert set(at_node) <= set(markings["marking_id"])
    blocks = markings[markings["intersection_id"] == ""]
    assert set(blocks["segment_id"]) == {"a1", "b1"}
    assert set(full[full["intersection_id"] == ""]["segment_id"]) > {"a1", "b1"}
    assert set(markings["district"]) == {"w"}
    kept = full.set_index("marking_id").loc[markings["marking_id"]]
    assert all(
        a.equals_exact(b, 1e-9) for a, b in zip(markings.geometry, kept.geometry, strict=True)
    )
    assert len(design.in_layout()) == 4
    assert not [f for f in found if f.code == "outside_districts"]


def test_an_intersection_outside_gets_nothing_and_its_streets_are_told() -> None:
    markings, design, found = layout_of(
        within({"district_id": "w", "at": WEST}, districts={"margin": "0 ft"})
    )
    assert set(markings["segment_id"]) == {"a1", "b1"}
    assert set(markings["intersection_id"]) == {""}
    (told,) = (f for f in found if f.code == "outside_districts")
    assert (told.source, told.rows, told.severity) == ("streets", 2, "notice")
    assert told.text.startswith("2 of 4 segments lie outside every district")
    streets = layers.streets_table(design, PLANE)
    assert streets["segment_id"].tolist() == ["a1", "b1"]
    assert streets["district"].tolist() == ["w", "w"]
    assert streets.geometry.iloc[0].equals(design.axes.lines()[0])
    assert not len(layers.intersections_table(design, PLANE))
    assert not len(layers.approaches_table(design, PLANE))


def test_a_street_on_the_border_is_inside_and_takes_the_first_label() -> None:
    """Both districts end on the axis of the avenue, y = 50."""
    north = "POLYGON ((-400 50, 600 50, 600 600, -400 600, -400 50))"
    south = "POLYGON ((-400 50, 600 50, 600 -500, -400 -500, -400 50))"
    for rows in (("n", north), ("s", south)), (("s", south), ("n", north)):
        found = labels(within(*({"district_id": i, "at": at} for i, at in rows)))
        assert found == {"a1": "n", "a2": "n", "b1": "s", "b2": "n"}
    alone = within({"district_id": "s", "at": south})
    assert labels(alone) == {"a1": "s", "a2": "s", "b1": "s", "b2": None}


def test_a_border_drawn_half_a_foot_off_the_axis_still_lies_on_it() -> None:
    """The avenue runs at y = 50, inside of s by the letter."""
    north = "POLYGON ((-400 50.5, 600 50.5, 600 600, -400 600, -400 50.5))"
    south = "POLYGON ((-400 50.5, 600 50.5, 600 -500, -400 -500, -400 50.5))"
    found = labels(within({"district_id": "s", "at": south}, {"district_id": "n", "at": north}))
    assert (found["a1"], found["a2"]) == ("n", "n")
    # 2 ft off is no slip of the pen
    north, south = (t.replace("50.5", "52") for t in (north, south))
    found = labels(within({"district_id": "s", "at": south}, {"district_id": "n", "at": north}))
    assert (found["a1"], found["a2"]) == ("s", "s")


def test_overlapping_districts_take_the_first_label() -> None:
    rows: list[Row] = [
        {"district_id": "9", "at": ALL},
        {"district_id": "10", "name": "A", "at": ALL},
    ]
    assert set(labels(within(*rows)).values()) == {"9"}
    rows = [{"district_id": "9", "at": ALL}, {"district_id": "10", "at": WEST}]
    assert labels(within(*rows)) == {"a1": "10", "a2": "9", "b1": "10", "b2": "9"}


def test_a_hole_is_outside_and_parts_are_one_district() -> None:
    hole = shapely.Polygon(
        shapely.from_wkt(ALL).exterior, [shapely.Point(310, 50).buffer(90.0).exterior]
    )
    assert labels(within({"district_id": "d", "at": hole}))["a2"] is None
    both = shapely.MultiPolygon([shapely.from_wkt(WEST), shapely.from_wkt(EAST)])
    assert set(labels(within({"district_id": "d", "at": both})).values()) == {"d"}


def test_margin_is_measured_from_the_border() -> None:
    near = "POLYGON ((-400 70, 600 70, 600 600, -400 600, -400 70))"  # 20 ft north of the avenue
    rows = {"district_id": "n", "at": near}
    assert labels(within(rows, districts={"margin": "19 ft"}))["a1"] is None
    assert labels(within(rows, districts={"margin": "21 ft"}))["a1"] == "n"


BOW = "POLYGON ((-400 -500, 600 600, 600 -500, -400 600, -400 -500))"
FLAT = "POLYGON ((0 0, 100 0, 200 0, 0 0))"


def test_bad_polygons_are_mended_or_told() -> None:
    with np.errstate(invalid="ignore"):
        broken = shapely.Polygon([(0, 0), (float("nan"), 1), (3, 3)])
    rows: list[Row] = [
        {"district_id": "bow", "at": BOW},
        {"district_id": "flat", "at": FLAT},
        {"district_id": "none", "at": None},
        {"district_id": "empty", "at": "POLYGON EMPTY"},
        {"district_id": "nan", "at": broken},
    ]
    design, found = design_of(within(*rows))
    told = [(f.code, f.feature_id, f.rows) for f in found if f.source == "districts"]
    assert sorted(told) == [
        ("no_area", "empty", 1),
        ("no_area", "flat", 1),
        ("no_area", "nan", 1),
        ("no_area", "none", 1),
        ("polygon_mended", "bow", 0),
    ]
    assert {s.district for s in design.segments if not s.outside} == {"bow"}


@pytest.mark.parametrize("rows", [(), ({"district_id": "flat", "at": FLAT},)])
def test_no_usable_district_lays_out_everything_and_says_so(rows: Sequence[Row]) -> None:
    tables = dict(cross().tables())
    tables["districts"] = (
        within({"district_id": "x", "at": FLAT}).tables()["districts"].iloc[: len(rows)]
    )

    own = project()
    design, found = build_design(tables, street_params(own.settings), leg_policy(own.rules))
    assert "no_districts" in {f.code for f in found}
    assert not any(s.outside for s in design.segments)


def test_districts_elsewhere_leave_nothing_and_warn() -> None:
    far = "POLYGON ((9000 9000, 9100 9000, 9100 9100, 9000 9000))"
    markings, design, found = layout_of(within({"district_id": "far", "at": far}))
    assert not len(markings)
    assert len(layers.streets_table(design, PLANE)) == 0
    (told,) = (f for f in found if f.code == "outside_districts")
    assert (told.rows, told.severity) == (4, "warning")


def test_every_row_outside_is_counted_also_where_ids_repeat_or_lines_have_parts() -> None:
    """Rows far from the crossing: two of one id, one of two parts that do not touch."""
    parts = "MULTILINESTRING ((3000 0, 3300 0), (3000 90, 3300 95))"
    rows: list[Row] = [
        {"segment_id": "q", "at": "LINESTRING (3000 300, 3300 310)"},
        {"segment_id": "q", "at": "LINESTRING (3000 500, 3300 510)"},
        {"segment_id": "p", "at": parts},
    ]
    base = within({"district_id": "d", "at": ALL})
    _, found = design_of(replace(base, streets=[*base.streets, *rows]))
    (told,) = (f for f in found if f.code == "outside_districts")
    assert told.rows == 3
    assert told.text.startswith("4 of 8 segments lie outside")


def test_rows_without_id_and_name_get_an_id_from_their_shape() -> None:
    one = labels(within({"at": WEST}, {"at": EAST}))
    assert one == labels(within({"at": EAST}, {"at": WEST}))
    assert len(set(one.values())) == 2


def test_cases_may_ask_for_the_district() -> None:
    case = {"where": {"district": "West Ward"}, "enabled": False}
    rules = {"rules": {"center_line": {"cases": [case]}}}
    west = {"district_id": "w", "name": "West Ward", "at": WEST}
    east = {"district_id": "e", "at": EAST}
    markings, _, _ = layout_of(within(west, east, **rules))
    lines = markings[markings["kind"] == "center_line"]
    assert set(lines["segment_id"]) == {"a2", "b2"}
    assert set(lines["district"]) == {"e"}


def test_leg_markings_follow_the_intersection_not_the_street() -> None:
    """The node lies in e only; its leg a1 belongs to w."""
    west = {"district_id": "w", "at": "POLYGON ((-400 -500, 60 -500, 60 600, -400 600, -400 -500))"}
    east = {"district_id": "e", "at": "POLYGON ((60 -500, 700 -500, 700 600, 60 600, 60 -500))"}
    markings, _, _ = layout_of(within(west, east))
    own = markings[markings["segment_id"] == "a1"]
    assert set(own[own["intersection_id"] != ""]["district"]) == {"e"}
    assert set(own[own["intersection_id"] == ""]["district"]) == {"w"}


MOVES: dict[str, Callable[[Any], Any]] = {
    "turned": lambda g: affinity.rotate(g, 37.0, origin=(0, 0)),
    "shifted": lambda g: affinity.translate(g, 512.3, -77.7),
}


@pytest.mark.parametrize("name", MOVES)
def test_motion_changes_no_label(name: str) -> None:
    """Also on a border that runs on an axis, where rounding would decide."""
    north = shapely.from_wkt("POLYGON ((-400 50, 600 50, 600 600, -400 600, -400 50))")
    south = shapely.from_wkt("POLYGON ((-400 50, 600 50, 600 -500, -400 -500, -400 50))")
    base = within({"district_id": "n", "at": north}, {"district_id": "s", "at": south})
    move = MOVES[name]

    def moved(rows: Sequence[Row]) -> list[Row]:
        shapes = [shapely.from_wkt(r["at"]) if isinstance(r["at"], str) else r["at"] for r in rows]
        return [{**r, "at": move(s)} for r, s in zip(rows, shapes, strict=True)]

    other = replace(
        base,
        streets=moved(base.streets),
        controls=moved(base.controls),
        more={"districts": moved(base.more["districts"])},
    )
    assert labels(other) == labels(base)


def test_areas_keep_an_order_of_their_own() -> None:
    table = within({"district_id": "b", "at": EAST}, {"district_id": "a", "at": WEST}).tables()
    areas, found = read_areas(table["districts"], "districts", ("district_id", "name"))
    assert [a.label for a in areas] == ["a", "b"]
    assert not found
