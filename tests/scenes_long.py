"""Scenes of lines along the street: rural roads, forks, lane drops, offset legs."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
from scenes import Scene

from layoutgen.config import merge


def rural(**settings: Any) -> Scene:
    r"""A curved rural arterial (r1, r2), 24 ft and 6200 vehicles a day; a lane ends on it (s).

    r1 ----+---- r2      r2 has a bike lane on its right side and is 36 ft wide
           |  (stop)
           s
    """
    arc = [(-520.0 + 40.0 * k, -30.0 + 0.00030 * (40.0 * k) ** 2) for k in range(14)]
    onward = [arc[-1], (180.0, 95.0), (430.0, 160.0)]
    main = {"name": "Heath Road", "street_class": "arterial", "lanes": 2, "setting": "rural",
            "adt": 6200, "speed_mph": 50.0, "parking": "none"}  # fmt: skip
    stem = [arc[-1], (30.0, -80.0), (44.0, -240.0)]
    return Scene(
        streets=[
            {"segment_id": "r1", **main, "width_ft": 24.0, "at": shapely.LineString(arc)},
            {"segment_id": "r2", **main, "width_ft": 36.0, "bike_lane": "right",
             "at": shapely.LineString(onward)},
            {"segment_id": "s", "name": "Gorse Lane", "street_class": "local", "width_ft": 20.0,
             "setting": "rural", "adt": 300, "at": shapely.LineString(stem)},
        ],
        controls=[{"control_id": "p", "control": "stop", "bearing_deg": 350.0,
                   "at": shapely.Point(36.0, 18.0)}],
        settings=settings,
    )  # fmt: skip


def offset_lanes(shift_ft: float = 5.0, **settings: Any) -> Scene:
    r"""A skewed signal crossing: two lanes turn left from the west, whose lanes lie off those east.

    w ----/---- e        w: 4 lanes and a bike lane; e: 4 lanes; n, s: 4 lanes, a bend at the node
         /
    """
    main = {"name": "Tidal Road", "street_class": "arterial", "parking": "none"}
    side = {"name": "Sound Street", "street_class": "arterial", "lanes": 4, "width_ft": 46.0}
    x = (61.0, -23.0)
    far, near = (141.0, 330.0), (20.0, -340.0)
    return Scene(
        streets=[
            {"segment_id": "w", **main, "lanes_forward": 3, "lanes_backward": 2,
             "width_ft": 55.0 + 2 * shift_ft, "bike_lane": "right" if shift_ft else "none",
             "turn_lanes_forward": "left|left;through|through",
             "at": shapely.LineString([(-420.0, -60.0), x])},
            {"segment_id": "e", **main, "lanes": 4, "width_ft": 44.0,
             "at": shapely.LineString([x, (480.0, 62.0)])},
            {"segment_id": "n", **side, "at": shapely.LineString([x, far])},
            {"segment_id": "s", **side, "at": shapely.LineString([near, x])},
        ],
        controls=[{"control_id": "g", "control": "signal", "at": shapely.Point(90.0, 10.0)}],
        settings=settings,
    )  # fmt: skip


def lane_ends(**settings: Any) -> Scene:
    r"""A curved arterial: from the west four lanes, then two; a one-way road loses its left lane.

    w1 ======= w2 -----        w1: 48 ft, 35 mph; w2: 28 ft
    f1 ======= f2 -----  ->    f1: three lanes and 44 ft, 45 mph; f2: two lanes, 28 ft, curbs right
    """
    arc = [(-950.0 + 60.0 * k, 40.0 + 0.00009 * (60.0 * k) ** 2) for k in range(18)]
    main = {"name": "Estuary Road", "street_class": "arterial", "speed_mph": 35.0,
            "parking": "none"}  # fmt: skip
    way = {"name": "Ness Road", "street_class": "arterial", "oneway": "forward",
           "speed_mph": 45.0, "setting": "rural", "adt": 9000, "parking": "none"}  # fmt: skip
    low = [(x, y - 300.0) for x, y in arc]
    return Scene(
        streets=[
            {"segment_id": "w1", **main, "lanes": 4, "width_ft": 48.0,
             "at": shapely.LineString(arc)},
            {"segment_id": "w2", **main, "lanes": 2, "width_ft": 28.0,
             "at": shapely.LineString([arc[-1], (420.0, 230.0)])},
            {"segment_id": "f1", **way, "lanes": 3, "width_ft": 36.0,
             "at": shapely.LineString(low)},
            {"segment_id": "f2", **way, "lanes": 2, "width_ft": 24.0,
             "at": shapely.LineString([low[-1], (440.0, -70.0)])},
        ],
        settings=settings,
    )  # fmt: skip


def lane_drop_short(**settings: Any) -> Scene:
    """An arterial that loses two lanes 150 ft after it begins, digitised against the traffic."""
    main = {"name": "Estuary Road", "street_class": "arterial", "speed_mph": 35.0,
            "oneway": "backward", "parking": "none"}  # fmt: skip
    return Scene(
        streets=[
            {"segment_id": "a", **main, "lanes": 3, "width_ft": 36.0,
             "at": "LINESTRING (160 40, 20 -12)"},
            {"segment_id": "b", **main, "lanes": 2, "width_ft": 24.0,
             "at": "LINESTRING (420 190, 160 40)"},
        ][::-1],
        settings=settings,
    )  # fmt: skip


def winding(**settings: Any) -> Scene:
    r"""A rural collector, 50 mph: straight, a sharp curve to the right, straight, a curve to the
    left that is soon over, straight; a lane ends on it near the east end.

    - - - \
           \______/- - - + - -
    """
    heading, at = math.radians(80.0), np.array([-1500.0, 700.0])
    points = [at]
    for length, turn in ((1100, 0.0), (520, 62.0), (260, 0.0), (420, -55.0), (1500, 0.0)):
        for _ in range(length // 20):
            heading += math.radians(turn) / (length // 20)
            at = at + 20.0 * np.array([math.sin(heading), math.cos(heading)])
            points.append(at)
    node, onward = points[-1], points[-1] + 640.0 * np.array([math.sin(heading), math.cos(heading)])
    stem = node + 300.0 * np.array([math.cos(heading + 0.2), -math.sin(heading + 0.2)])
    main = {"name": "Fell Road", "street_class": "collector", "width_ft": 26.0, "lanes": 2,
            "setting": "rural", "adt": 900, "speed_mph": 50.0, "parking": "none"}  # fmt: skip
    lane = {"name": "Tarn Lane", "street_class": "local", "width_ft": 18.0, "adt": 3100,
            "setting": "rural"}  # fmt: skip
    base = {"defaults": {"collector": {"center_line": "broken"}}}
    return Scene(
        streets=[
            {"segment_id": "v1", **main, "at": shapely.LineString(points)},
            {"segment_id": "v2", **main, "at": shapely.LineString([node, onward])},
            {"segment_id": "t", **lane, "at": shapely.LineString([node, stem])},
        ],
        controls=[{"control": "stop", "control_id": "p",
                   "at": shapely.Point(node + (stem - node) * 0.1)}],
        settings=merge(base, settings),
    )  # fmt: skip


def shared_lane(**settings: Any) -> Scene:
    """A curved five-lane collector with a lane for the left turns of both directions, 900 ft."""
    arc = [(-70.0 + 45.0 * k, 310.0 - 0.00003 * (45.0 * k) ** 2) for k in range(21)]
    row = {"segment_id": "c", "name": "Ferry Road", "street_class": "collector", "lanes": 5,
           "width_ft": 60.0, "center_turn_lane": True, "parking": "none"}  # fmt: skip
    return Scene([{**row, "at": shapely.LineString(arc)}], settings=settings)


def fork(**settings: Any) -> Scene:
    r"""A one-way road of two lanes loses a ramp to the right, and gets one from the right later.

    h1 ->---.---- h2 ->---.---- h3 ->       h*: 24 ft, 55 mph; p, q: ramps, 14 ft
             \_ p          / q
    """
    main = {"name": "Coast Route", "street_class": "freeway", "oneway": "forward", "lanes": 2,
            "width_ft": 28.0, "speed_mph": 55.0, "parking": "none"}  # fmt: skip
    ramp = {"name": "", "street_class": "ramp", "oneway": "forward", "lanes": 1,
            "width_ft": 16.0, "speed_mph": 35.0, "parking": "none"}  # fmt: skip
    a, b, c, d = (-620.0, 90.0), (10.0, 150.0), (1210.0, 264.286), (1900.0, 330.0)
    away = [b, (110.0, 150.0), (210.0, 143.0), (300.0, 128.0), (420.0, 95.0)]
    onto = [(790.0, 150.0), (920.0, 195.0), (1010.0, 223.0), (1110.0, 245.0), c]
    return Scene(
        streets=[
            {"segment_id": "h1", **main, "at": shapely.LineString([a, b])},
            {"segment_id": "h2", **main, "at": shapely.LineString([b, c])},
            {"segment_id": "h3", **main, "at": shapely.LineString([c, d])},
            {"segment_id": "p", **ramp, "at": shapely.LineString(away)},
            {"segment_id": "q", **ramp, "oneway": "backward",
             "at": shapely.LineString(onto[::-1])},
        ],
        settings=settings,
    )  # fmt: skip


def lane_into_nothing(**settings: Any) -> Scene:
    """A curved five-lane road whose lane for left turns ends; four lanes go on, a bit narrower."""
    base = {"name": "Ferry Road", "street_class": "arterial", "parking": "none",
            "speed_mph": 45.0}  # fmt: skip
    arc = [(-70.0 + 45.0 * k, 310.0 - 0.00022 * (45.0 * k) ** 2) for k in range(13)]
    return Scene(
        streets=[
            {"segment_id": "c", **base, "lanes": 5, "width_ft": 60.0, "center_turn_lane": True,
             "at": shapely.LineString(arc[::-1])},
            {"segment_id": "d", **base, "lanes": 4, "width_ft": 50.0,
             "at": shapely.LineString([arc[-1], (900.0, 130.0)])},
        ],
        settings=settings,
    )  # fmt: skip


def long_reduction(**settings: Any) -> Scene:
    """A straight one-way arterial of 1,500 ft at 45 mph that goes on without its right lane."""
    way = {"name": "Ness Road", "street_class": "arterial", "oneway": "backward",
           "speed_mph": 45.0, "parking": "none"}  # fmt: skip
    return Scene(
        streets=[
            {"segment_id": "f1", **way, "lanes": 3, "width_ft": 36.0,
             "at": "LINESTRING (-640 10, 800 430)"},
            {"segment_id": "f2", **way, "lanes": 2, "width_ft": 24.0,
             "at": "LINESTRING (-1120 -130, -640 10)"},
        ][::-1],
        settings=settings,
    )  # fmt: skip


SCENES: dict[str, Any] = {
    f.__name__: f
    for f in (
        rural,
        offset_lanes,
        lane_ends,
        lane_drop_short,
        winding,
        shared_lane,
        fork,
        lane_into_nothing,
        long_reduction,
    )
}
