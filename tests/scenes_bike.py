"""Scenes of bike facilities at intersections."""

from __future__ import annotations

from typing import Any

from scenes import Row, Scene, circle


def bike_turns(**settings: Any) -> Scene:
    r"""A buffered street into a signal where the right lane must turn; a shared street crosses; and
    far from both a roundabout whose legs have buffered lanes.

            s2
    b1 -----+---- b2      b1, b2: 58 ft, 4 lanes of 10 ft... buffered on both sides
            s1            s1, s2: shared lanes, 30 ft, 25 mph
    """
    main = {"name": "Grebe Avenue", "street_class": "collector", "lanes": 4, "width_ft": 60.0,
            "speed_mph": 30.0, "bike_left": "buffered", "bike_right": "buffered"}  # fmt: skip
    side = {"name": "Tern Lane", "street_class": "local", "width_ft": 30.0, "speed_mph": 25.0,
            "bike_left": "shared", "bike_right": "shared"}  # fmt: skip
    parked = {**side, "width_ft": 44.0, "parking": "both"}
    rows: list[Row] = [
        {"segment_id": "b1", **main, "turn_lanes_forward": "through|right",
         "at": "LINESTRING (-520 -700, 30 -730)"},
        {"segment_id": "b2", **main, "at": "LINESTRING (30 -730, 500 -755.6)"},
        {"segment_id": "s1", **side, "at": "LINESTRING (20 -1180, 30 -730)"},
        {"segment_id": "s2", **parked, "at": "LINESTRING (30 -730, 55 -260)"},
    ]  # fmt: skip
    ring = circle()
    legs = [
        {**row, "bike_lane": "none", "bike_left": "buffered", "bike_right": "buffered",
         "width_ft": 50.0} if row.get("bike_lane") else row
        for row in ring.streets
    ]  # fmt: skip
    control = {"control_id": "s", "control": "signal", "at": "POINT (62 -700)"}
    return Scene([*rows, *legs], controls=[control], settings=settings)


def two_stage(**settings: Any) -> Scene:
    r"""A street with parking and bike lanes (a1, a2) crosses another (c1, c2) at a signal."""
    main = {"name": "Skua Street", "street_class": "collector", "width_ft": 48.0,
            "parking": "both", "bike_lane": "both"}  # fmt: skip
    side = {"name": "Gannet Road", "street_class": "collector", "width_ft": 36.0}
    return Scene(
        [
            {"segment_id": "a1", **main, "at": "LINESTRING (-400 30, 25 55)"},
            {"segment_id": "a2", **main, "at": "LINESTRING (450 80, 25 55)"},
            {"segment_id": "c1", **side, "at": "LINESTRING (60 -350, 25 55)"},
            {"segment_id": "c2", **side, "at": "LINESTRING (25 55, -5 420)"},
        ],
        controls=[{"control_id": "s", "control": "signal", "at": "POINT (55 90)"}],
        settings=settings,
    )


def bike_tee(**settings: Any) -> Scene:
    r"""A street with bike lanes (m1, m2) on which another ends from the north.

             s          s: bike lanes too, stops
    m1 ------+------ m2
    """
    main = {"name": "Dunlin Street", "street_class": "collector", "width_ft": 36.0,
            "bike_lane": "both"}  # fmt: skip
    return Scene(
        [
            {"segment_id": "m1", **main, "at": "LINESTRING (-370 -90, 20 15)"},
            {"segment_id": "m2", **main, "at": "LINESTRING (410 120, 20 15)"},
            {"segment_id": "s", **main, "name": "Knot Lane", "street_class": "local",
             "at": "LINESTRING (20 15, -20 330)"},
        ],
        controls=[{"control_id": "p", "control": "stop", "bearing_deg": 173.0,
                   "at": "POINT (2 50)"}],
        settings=settings,
    )  # fmt: skip


SCENES = {"bike_tee": bike_tee, "two_stage": two_stage, "bike_turns": bike_turns}
