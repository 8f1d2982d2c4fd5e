"""Scenes of figures, words and legends."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import shapely
import shapely.ops
from scenes import Scene

from layoutgen.config import merge

_MAIN = {"name": "Anchor Road", "street_class": "arterial", "lanes": 4, "width_ft": 48.0}
_SIDE = {"name": "Brine Lane", "street_class": "local", "width_ft": 30.0}


def legends(**settings: Any) -> Scene:
    r"""A bent four-lane street with legends, from a dead end in the west to a STOP sign.

    l1: STOP AHEAD for eastbound traffic, both lanes;  l2: a yellow arrow on its lane;
    l3: a word in the left lane westbound;  l4: no such figure;  l5: four lines;
    l6: runs into the crossing;  l7: letters of 4 ft, lane 2 westbound;  l8: a bearing across.
    """
    bend = shapely.LineString([(-700, -60), (-350, -40), (0, 15), (310, 90)])
    along = bend.interpolate

    def at(station: float, right: float) -> shapely.Point:
        a, b = along(station - 1.0), along(station + 1.0)
        dx, dy = (b.x - a.x) / 2, (b.y - a.y) / 2
        here = along(station)
        return shapely.Point(here.x + right * dy, here.y - right * dx)

    rows: list[dict[str, Any]] = [
        {"legend_id": "l1", "text": "stop | ahead", "bearing_deg": 86.0, "at": at(300, 30)},
        {"legend_id": "l2", "figure": "arrow_through", "color": "yellow", "at": at(420, 17)},
        {
            "legend_id": "l3",
            "text": "SLOW",
            "bearing_deg": 262.0,
            "lanes": "left",
            "at": at(500, -5),
        },
        {"legend_id": "l4", "figure": "arrow_thru", "at": at(560, 5)},
        {"legend_id": "l5", "text": "A|B|C|D", "at": at(600, 5)},
        {"legend_id": "l6", "text": "SIGNAL", "bearing_deg": 76.0, "at": at(1000, 5)},
        {
            "legend_id": "l7",
            "text": "BUS|ONLY",
            "bearing_deg": 262.0,
            "lanes": "2",
            "height_ft": 6.0,
            "at": at(700, -18),
        },
        {"legend_id": "l8", "text": "SLOW", "bearing_deg": 350.0, "at": at(800, 5)},
    ]
    end = (310, 90)
    return Scene(
        streets=[
            {"segment_id": "m", **_MAIN, "speed_mph": 20.0, "at": bend},
            {"segment_id": "n", **_SIDE, "at": shapely.LineString([end, (280, 420)])},
            {"segment_id": "s", **_SIDE, "at": shapely.LineString([(345, -250), end])},
        ],
        controls=[
            {"control_id": "p", "control": "stop", "bearing_deg": 76.0, "at": "POINT (285 62)"}
        ],
        more={"legends": rows},
        settings=settings,
    )


def fast_legends(**settings: Any) -> Scene:
    """As `legends`, at 50 mph."""
    base = legends()
    streets = [{**row, "speed_mph": 50.0} for row in base.streets]
    return Scene(streets, base.controls, more=base.more, settings=settings)


def slow_movements(**settings: Any) -> Scene:
    """As `movements`, at 20 mph."""
    base = movements()
    streets = [{**row, "speed_mph": 20.0} for row in base.streets]
    return Scene(streets, base.controls, more=base.more, settings=settings)


def words(**settings: Any) -> Scene:
    r"""A long street: STOP in the west, a signal in the east, crosswalks between.

    m: 35 mph, marked midblock crossings, one of them near a school.

          w ---x------ m ------o----- e      x: midblock, school; o: midblock
    """
    line = shapely.LineString([(-900, 20), (-200, -30), (560, 40)])
    main = {"name": "Anchor Road", "street_class": "collector", "width_ft": 36.0}
    side = {**_SIDE, "street_class": "collector"}
    west, east = (-900.0, 20.0), (560.0, 40.0)
    return Scene(
        streets=[
            {"segment_id": "m", **main, "speed_mph": 35.0, "at": line},
            {"segment_id": "wn", **side, "at": shapely.LineString([west, (-930, 340)])},
            {"segment_id": "ws", **side, "at": shapely.LineString([(-880, -310), west])},
            {"segment_id": "en", **side, "at": shapely.LineString([east, (570, 400)])},
            {
                "segment_id": "es",
                **side,
                "speed_mph": 20.0,
                "at": shapely.LineString([(540, -330), east]),
            },
            {
                "segment_id": "ee",
                **main,
                "speed_mph": 30.0,
                "at": shapely.LineString([east, (930, 60)]),
            },
        ],
        controls=[
            {"control_id": "p", "control": "stop", "bearing_deg": 274.0, "at": "POINT (-880 40)"},
            {"control_id": "q", "control": "signal", "at": "POINT (580 60)"},
        ],
        crossing_points=[
            {"crossing_id": "x", "markings": "marked", "at": line.interpolate(430)},
            {"crossing_id": "o", "markings": "marked", "at": line.interpolate(1000)},
        ],
        schools=[{"school_id": "h", "name": "Heron School", "at": line.interpolate(430)}],
        settings={"school_zone": {"zone": "100 ft"}, **settings},
    )


def yielding(**settings: Any) -> Scene:
    """A long stem with a YIELD sign at its end; nothing controls the street it meets."""
    main = {"name": "Anchor Road", "street_class": "collector", "width_ft": 36.0}
    return Scene(
        streets=[
            {"segment_id": "m1", **main, "at": "LINESTRING (-560 10, 40 30)"},
            {"segment_id": "m2", **main, "at": "LINESTRING (40 30, 640 63.333)"},
            {"segment_id": "s", **_SIDE, "at": "LINESTRING (80 -570, 40 30)"},
        ],
        controls=[
            {"control_id": "p", "control": "yield", "bearing_deg": 356.0, "at": "POINT (61 -2)"}
        ],
        settings=settings,
    )


def asked_words(**settings: Any) -> Scene:
    """As `words`, and STOP is asked for."""
    return words(**merge({"rules": {"words": {"at": ["stop"]}}}, settings))


def asked_routes(**settings: Any) -> Scene:
    """As `movements`, and route numbers are asked for."""
    return movements(**merge({"rules": {"route_number": {"at": ["signal"]}}}, settings))


def interchange(**settings: Any) -> Scene:
    r"""An exit ramp of two lanes (x), an entrance ramp (n), and a one-way street (o).

         x \   / n
    a1 -----+-+------ a2 --+-- a3
                           | o (one-way, ends at a)
    """
    ramp = {"street_class": "ramp", "oneway": "forward", "name": ""}
    p, q, r = (10.0, 5.0), (70.0, 8.0), (520.0, 30.0)
    return Scene(
        streets=[
            {"segment_id": "a1", **_MAIN, "at": shapely.LineString([(-400, -15), p])},
            {"segment_id": "a12", **_MAIN, "at": shapely.LineString([p, q])},
            {"segment_id": "a2", **_MAIN, "at": shapely.LineString([q, r])},
            {"segment_id": "a3", **_MAIN, "at": shapely.LineString([r, (900, 50)])},
            {
                "segment_id": "x",
                **ramp,
                "lanes": 2,
                "width_ft": 28.0,
                "at": shapely.LineString([(-250, 640), (-105, 330), p]),
            },
            {
                "segment_id": "n",
                **ramp,
                "lanes": 1,
                "width_ft": 16.0,
                "at": shapely.LineString([q, (140, 210), (350, 580)]),
            },
            {
                "segment_id": "o",
                **_SIDE,
                "oneway": "forward",
                "lanes": 1,
                "width_ft": 20.0,
                "at": shapely.LineString([(560, -400), r]),
            },
        ],
        controls=[{"control_id": "c", "control": "signal", "at": "POINT (20 40)"}],
        settings=settings,
    )


def movements(**settings: Any) -> Scene:
    r"""Lanes of every kind at a signal, and tracks across one of the streets.

    w: U-turn and left | through | through and right;  e: U-turn | through | right;
    n: left | bus (says nothing), tracks 95 ft north of the crossing;  s: all ways | right
    """
    center = (25.0, -10.0)
    wide = {"name": "Anchor Road", "street_class": "arterial", "lanes": 6, "width_ft": 72.0}
    return Scene(
        streets=[
            {
                "segment_id": "w",
                **wide,
                "turn_lanes_forward": "reverse;left|straight|through;right",
                "at": shapely.LineString([(-700, -60), center]),
            },
            {
                "segment_id": "e",
                **wide,
                "turn_lanes_backward": "u-turn|through|right",
                "route": "US 30",
                "at": shapely.LineString([center, (760, 40)]),
            },
            {
                "segment_id": "n",
                "name": "Brine Lane",
                "street_class": "collector",
                "lanes": 4,
                "width_ft": 44.0,
                "turn_lanes_backward": "left|bus",
                "at": shapely.LineString([center, (10, 600)]),
            },
            {
                "segment_id": "s",
                "name": "Brine Lane",
                "street_class": "collector",
                "lanes": 4,
                "width_ft": 44.0,
                "turn_lanes_forward": "left;through;right|right",
                "at": shapely.LineString([(60, -640), center]),
            },
        ],
        controls=[{"control_id": "c", "control": "signal", "at": "POINT (50 20)"}],
        more={
            "rail_crossings": [
                {"crossing_id": "r", "tracks": 2, "at": shapely.Point(8.5, 28.0 + 85.0)}
            ]
        },
        settings=settings,
    )


def two_lane_circle(**settings: Any) -> Scene:
    """A roundabout; the west approach has two lanes with arrows, the east one."""
    center = shapely.Point(15.0, -9.0)
    ring = shapely.get_coordinates(center.buffer(75.0, quad_segs=16).exterior)[::-1]
    cuts = [0, 22, 40, 64]
    way = {"street_class": "arterial", "oneway": "forward", "roundabout": True, "width_ft": 30.0}
    rows: list[dict[str, Any]] = []
    for k, (a, b) in enumerate(pairwise(cuts)):
        rows.append(
            {"segment_id": f"r{k}", **way, "lanes": 2, "at": shapely.LineString(ring[a : b + 1])}
        )
    legs = (
        ("e", 0, 2, "left"),
        ("nw", 22, 4, "left;through|through;right"),
        ("w", 40, 4, "left|left;through"),
    )
    for name, at, lanes, turn in legs:
        x, y = ring[at]
        dx, dy = (x - center.x) / 75.0, (y - center.y) / 75.0
        far = (x + 420.0 * dx, y + 420.0 * dy)
        rows.append(
            {
                "segment_id": name,
                "name": f"{name.upper()} Quay",
                "street_class": "arterial",
                "lanes": lanes,
                "width_ft": 14.0 * lanes,
                "turn_lanes_backward": turn,
                "at": shapely.LineString([(x, y), far]),
            }
        )
    return Scene(rows, settings=settings)


SCENES = {
    "legends": legends,
    "asked_words": asked_words,
    "asked_routes": asked_routes,
    "fast_legends": fast_legends,
    "slow_movements": slow_movements,
    "words": words,
    "yielding": yielding,
    "interchange": interchange,
    "movements": movements,
    "two_lane_circle": two_lane_circle,
}
