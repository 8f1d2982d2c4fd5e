"""Scenes of what the curb is for: parking, zones, driveways, lanes of their own."""

from __future__ import annotations

from typing import Any

from scenes import Row, Scene


def curbside(**settings: Any) -> Scene:
    r"""A street with parking on both sides, into a signal with a street that crosses it.

            c2
    p1 -----+---- p2      p1: 44 ft, parking on both sides; a driveway and a hydrant south,
            c1            zones for buses, loading and accessible stalls; p2: angle parking north
    """
    quay = {"name": "Sprat Street", "street_class": "collector", "parking": "both"}
    side = {"name": "Roe Lane", "street_class": "collector", "width_ft": 34.0}
    rows: list[Row] = [
        {"segment_id": "p1", **quay, "width_ft": 44.0, "at": "LINESTRING (-560 -38, 40 22)"},
        {"segment_id": "p2", "name": "Sprat Street", "street_class": "collector",
         "width_ft": 50.0, "parking_left": "angle", "at": "LINESTRING (40 22, 480 66)"},
        {"segment_id": "c1", **side, "at": "LINESTRING (80 -300, 40 22)"},
        {"segment_id": "c2", **side, "at": "LINESTRING (40 22, 5 330)"},
    ]  # fmt: skip
    zones: list[Row] = [
        {"zone_id": "b", "use": "bus_stop", "at": "LINESTRING (-330 -34, -250 -26)"},
        {"zone_id": "l", "use": "loading", "length_ft": 44.0, "side": "left",
         "at": "POINT (-400 -22)"},
        {"zone_id": "a", "use": "accessible", "length_ft": 26.0, "at": "POINT (-300 6)"},
        {"zone_id": "n", "use": "no_parking", "at": "LINESTRING (-150 23, -100 28)"},
        {"zone_id": "f", "use": "fire_lane", "at": "LINESTRING (-470 -48, -410 -42)"},
        {"zone_id": "t", "use": "taxi", "at": "LINESTRING (-230 14, -180 19)"},
    ]  # fmt: skip
    points: list[Row] = [
        {"point_id": "d", "kind": "driveway", "width_ft": 16.0, "at": "POINT (-160 -20)"},
        {"point_id": "h", "kind": "hydrant", "at": "POINT (-500 -54)"},
    ]
    return Scene(
        rows,
        controls=[{"control_id": "s", "control": "signal", "at": "POINT (70 40)"}],
        more={
            "curb_zones": zones,
            "curb_points": points,
            "rail_crossings": [{"crossing_id": "r", "tracks": 1, "at": "POINT (420 60)"}],
        },
        settings=settings,
    )


def own_lanes(**settings: Any) -> Scene:
    r"""An avenue of four lanes, the outer ones for buses, and a one-way road with one."""
    avenue = {"name": "Whiting Avenue", "street_class": "arterial", "lanes": 4, "width_ft": 46.0,
              "lane_use_left": "bus", "lane_use_right": "bus"}  # fmt: skip
    road = {"name": "Ling Expressway", "street_class": "freeway", "lanes": 3, "width_ft": 50.0,
            "oneway": "backward", "speed_mph": 55.0, "lane_use_right": "hov"}  # fmt: skip
    side = {"name": "Dab Lane", "street_class": "local", "width_ft": 30.0}
    return Scene(
        [
            {"segment_id": "a1", **avenue, "at": "LINESTRING (-700 40, 30 12)"},
            {"segment_id": "a2", **avenue, "at": "LINESTRING (30 12, 330 0)"},
            {"segment_id": "s", **side, "at": "LINESTRING (10 -300, 30 12)"},
            {"segment_id": "f", **road, "at": "LINESTRING (-600 600, 500 690)"},
        ],
        more={"curb_zones": [{"zone_id": "b", "use": "bus_stop", "length_ft": 60.0,
                              "at": "POINT (-300 0)"}]},
        settings=settings,
    )  # fmt: skip


def shared_lanes(**settings: Any) -> Scene:
    r"""Lanes of their own side by side, alone, and beside others, on streets far apart.

    g -<------ g: one-way, a lane for buses and bicycles beside one for taxis
    h -------- h: one-way, one lane, for buses
    j -------- j: one-way, three lanes, the left one for buses and bicycles; parking on the right
    """
    way = {"street_class": "collector", "name": "Hake Street"}
    rows: list[Row] = [
        {"segment_id": "g", **way, "oneway": "backward", "lanes": 2, "width_ft": 24.0,
         "lane_use_left": "bike_bus", "lane_use_right": "taxi",
         "at": "LINESTRING (-300 600, 240 640)"},
        {"segment_id": "h", **way, "oneway": "forward", "lanes": 1, "width_ft": 13.0,
         "lane_use_left": "bus", "lane_use_right": "bus", "at": "LINESTRING (-280 400, 230 390)"},
        {"segment_id": "j", **way, "oneway": "forward", "lanes": 3, "width_ft": 42.0,
         "parking": "right", "lane_use_left": "bike_bus", "at": "LINESTRING (-310 200, 250 180)"},
    ]  # fmt: skip
    return Scene(rows, settings=settings)


SCENES = {"curbside": curbside, "own_lanes": own_lanes, "shared_lanes": shared_lanes}
