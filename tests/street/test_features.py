"""Rail crossings and speed humps on their streets, by station; what has no street is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
import shapely
from scenes import Scene, cross, design_of, layout_of

from layoutgen.errors import Finding
from layoutgen.street.design import Design, Segment

Row = Mapping[str, Any]


def road(rails: tuple[Row, ...] = (), humps: tuple[Row, ...] = (), **settings: Any) -> Scene:
    """One street of 1000 ft from west to east, y = 20."""
    street = {"segment_id": "k", "name": "Reed Street", "street_class": "local"}
    row = street | {"at": "LINESTRING (-100 20, 900 20)"}
    return Scene([row], more={"rail_crossings": rails, "speed_humps": humps}, settings=settings)


def built(scene: Scene) -> tuple[Segment, list[Finding]]:
    design, found = design_of(scene)
    return design.segments[0], [f for f in found if f.source in ("rail_crossings", "speed_humps")]


def test_features_stand_at_their_station_in_order() -> None:
    rails: tuple[Row, ...] = (
        {"crossing_id": "r1", "tracks": 2, "control": "gates", "at": "POINT (411 35)"},
    )
    humps: tuple[Row, ...] = (
        {"hump_id": "late", "kind": "table", "length_ft": 22.0, "at": "POINT (700 12)"},
        {"hump_id": "line", "kind": "hump", "at": "LINESTRING (150 5, 150 36)"},
        {"hump_id": "half", "kind": "cushion", "at": "LINESTRING (250 8, 250 15)"},
    )
    segment, found = built(road(rails, humps))
    assert not found
    (rail,) = segment.rail_crossings
    assert (rail.crossing_id, rail.tracks, rail.control) == ("r1", 2, "gates")
    assert rail.station_ft == pytest.approx(511.0)
    told = [(h.hump_id, round(h.station_ft, 3), h.kind, h.length_ft) for h in segment.speed_humps]
    assert told == [
        ("line", 250.0, "hump", None),
        ("half", 350.0, "cushion", None),
        ("late", 800.0, "table", 22.0),
    ]


def test_blocks_show_them_too() -> None:
    design, _ = design_of(road(humps=({"hump_id": "h", "at": "POINT (10 20)"},)))
    assert design.blocks[0].speed_humps == design.segments[0].speed_humps != ()
    assert design.blocks[0].rail_crossings == ()


def test_missing_values_are_unknown_not_made_up() -> None:
    rails: tuple[Row, ...] = ({"crossing_id": None, "at": "POINT (0 20)"},)
    segment, _ = built(road(rails))
    (rail,) = segment.rail_crossings
    assert rail.crossing_id.startswith("g")
    assert (rail.tracks, rail.control) == (None, "")


def test_far_and_placeless_features_are_told_with_the_reason() -> None:
    humps: tuple[Row, ...] = (
        {"hump_id": "far", "at": "POINT (300 70)"},
        {"hump_id": "none", "at": None},
        {"hump_id": "empty", "at": "POINT EMPTY"},
        {"hump_id": "nan", "at": shapely.Point(float("nan"), 3.0)},
        {"hump_id": "ok", "at": "POINT (300 59)"},
    )
    segment, found = built(road(humps=humps))
    assert [h.hump_id for h in segment.speed_humps] == ["ok"]
    told = {f.feature_id: (f.code, f.rows) for f in found}
    assert told == {
        "far": ("feature_far", 1),
        "none": ("null_geometry", 1),
        "empty": ("null_geometry", 1),
        "nan": ("null_geometry", 1),
    }
    far = next(f for f in found if f.feature_id == "far")
    assert "nearest street is 50 ft away, more than the reach of 40 ft" in far.text
    assert "features.speed_hump_reach" in far.fix
    assert len(humps) == len(segment.speed_humps) + sum(f.rows for f in found)


def test_reach_is_a_setting() -> None:
    humps: tuple[Row, ...] = ({"hump_id": "far", "at": "POINT (300 70)"},)
    segment, found = built(road(humps=humps, features={"speed_hump_reach": "51 ft"}))
    assert len(segment.speed_humps) == 1
    assert not found


def test_empty_tables_change_nothing() -> None:
    scene = road(humps=({"hump_id": "h", "at": None},))
    segment, found = built(scene)
    assert segment.speed_humps == ()
    assert [f.rows for f in found] == [1]


def test_the_nearest_street_takes_it_and_a_tie_goes_by_id() -> None:
    """Of `scenes.cross`: one hump beside a2, one crossing exactly on the node."""
    rails: list[Row] = [{"crossing_id": "node", "at": "POINT (100 50)"}]
    humps: list[Row] = [{"hump_id": "h", "at": "POINT (300 65)"}]
    scene = replace(cross(), more={"rail_crossings": rails, "speed_humps": humps})
    design, _ = design_of(scene)
    assert counts(design) == {"a1": (1, 0), "a2": (0, 1), "b1": (0, 0), "b2": (0, 0)}


@pytest.mark.parametrize(("y", "wanted"), [(24.0, "k"), (26.0, "n")])
def test_of_two_streets_within_reach_the_nearer_takes_it(y: float, wanted: str) -> None:
    """Street n runs 10 ft north of k."""
    scene = road(humps=({"hump_id": "h", "at": f"POINT (300 {y})"},))
    other = {**scene.streets[0], "segment_id": "n", "at": "LINESTRING (-100 30, 900 30)"}
    for streets in ([*scene.streets, other], [other, *scene.streets]):
        design, _ = design_of(replace(scene, streets=streets))
        assert [s.segment_id for s in design.segments if s.speed_humps] == [wanted]


def counts(design: Design) -> dict[str, tuple[int, int]]:
    return {s.segment_id: (len(s.rail_crossings), len(s.speed_humps)) for s in design.segments}


def test_turned_line_gives_the_same_place() -> None:
    humps: tuple[Row, ...] = ({"hump_id": "h", "at": "POINT (700 12)"},)
    scene = road(humps=humps)
    turned = replace(scene, streets=[{**scene.streets[0], "at": "LINESTRING (900 20, -100 20)"}])
    one, _ = built(scene)
    other, _ = built(turned)
    assert one.speed_humps[0].station_ft == pytest.approx(800.0)
    assert other.speed_humps[0].station_ft == pytest.approx(200.0)


def test_cases_may_ask_for_their_number() -> None:
    case = {"where": {"speed_humps": ">= 2"}, "enabled": False}
    rules = {
        "rules": {"center_line": {"cases": [case]}},
        "defaults": {"local": {"center_line": "double_solid"}},
    }
    for count, lines in ((1, 1), (2, 0)):
        humps = tuple({"hump_id": str(i), "at": f"POINT ({i * 99} 20)"} for i in range(count))
        markings, _, _ = layout_of(road(humps=humps, **rules))
        assert (markings["kind"] == "center_line").sum() == lines
