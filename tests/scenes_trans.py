"""Scenes of crosswalks inside blocks, rail crossings, humps, yields and boxes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely
import shapely.affinity
from scenes import Scene, circle, yield_tee

from layoutgen.config import merge

#: heading of most streets here, so that nothing is square to the plane
_T = math.radians(67.0)
_AHEAD = np.array([math.sin(_T), math.cos(_T)])
_RIGHT = np.array([_AHEAD[1], -_AHEAD[0]])


def _at(row: float, along: float, across: float = 0.0) -> tuple[float, float]:
    x, y = np.array([31.0, -17.0]) + along * _AHEAD - row * _RIGHT + across * _RIGHT
    return float(x), float(y)


def _line(row: float, length: float) -> Any:
    return shapely.LineString([_at(row, 0.0), _at(row, length)])


def midblock(**settings: Any) -> Scene:
    r"""Four streets with crossings in their blocks, each with a street across its far end.

    f: 4 lanes, 45 mph, marked, nothing controls     s: 2 lanes, marked as lines, a signal
    g: 4 lanes with a median, unknown marking        y: 2 lanes, marked, YIELD; on a speed table
    """
    rows: list[dict[str, Any]] = [
        {"segment_id": "f", "street_class": "arterial", "lanes": 4, "width_ft": 50.0,
         "speed_mph": 45.0, "at": _line(0, 520)},
        {"segment_id": "g", "street_class": "arterial", "oneway": "backward", "lanes": 3,
         "width_ft": 38.0, "bike_lane": "right", "at": _line(300, 500)},
        {"segment_id": "s", "street_class": "collector", "width_ft": 40.0, "parking": "left",
         "at": _line(600, 480)},
        {"segment_id": "y", "street_class": "local", "width_ft": 30.0, "at": _line(900, 460)},
    ]  # fmt: skip
    points = [
        {"crossing_id": "kf", "markings": "marked", "at": shapely.Point(_at(0, 250))},
        {"crossing_id": "kg", "markings": "marked", "control": "none",
         "at": shapely.Point(_at(300, 240))},
        {"crossing_id": "ks", "markings": "transverse_lines", "control": "signal",
         "at": shapely.Point(_at(600, 230))},
        {"crossing_id": "ky", "markings": "ladder", "control": "yield",
         "at": shapely.Point(_at(900, 220))},
        {"crossing_id": "ku", "markings": None, "at": shapely.Point(_at(900, 320))},
        {"crossing_id": "kn", "markings": "unmarked", "at": shapely.Point(_at(600, 360))},
    ]  # fmt: skip
    hump = {"hump_id": "h", "kind": "table", "length_ft": 22.0, "at": shapely.Point(_at(900, 220))}
    return Scene(rows, crossing_points=points, more={"speed_humps": [hump]}, settings=settings)


def walk_curve(**settings: Any) -> Scene:
    """A marked crossing of a two-lane street on a curve of 240 ft radius."""
    arc = shapely.Point(12, 7).buffer(240.0, quad_segs=48).exterior
    line = shapely.ops.substring(arc, 60.0, 520.0)
    row = {"segment_id": "k", "street_class": "collector", "lanes": 4, "width_ft": 48.0, "at": line}
    point = {"crossing_id": "c", "markings": "marked", "at": line.interpolate(230.0)}
    return Scene([row], crossing_points=[point], settings=settings)


def school_walk(**settings: Any) -> Scene:
    """A school beside a street with an uncontrolled crossing, and beside an uncontrolled T."""
    rows = [
        {"segment_id": "w", "name": "Heron Road", "street_class": "collector", "width_ft": 36.0,
         "at": _line(0, 700)},
        {"segment_id": "e", "name": "Heron Road", "street_class": "collector", "width_ft": 36.0,
         "at": shapely.LineString([_at(0, 700), _at(0, 1250)])},
        {"segment_id": "n", "name": "Tern Lane", "street_class": "local", "width_ft": 30.0,
         "at": shapely.LineString([_at(0, 700), _at(300, 690)])},
    ]  # fmt: skip
    points = [{"crossing_id": "c", "markings": "marked", "at": shapely.Point(_at(0, 340))}]
    schools = [{"school_id": "tern", "at": shapely.Point(_at(60, 480))}]
    own = merge({"school_zone": {"zone": "300 ft"}}, settings)
    return Scene(rows, schools=schools, crossing_points=points, settings=own)


def rails(**settings: Any) -> Scene:
    """Rail crossings: g gates, two tracks, 4 lanes; f 45 mph, signs; p signs, 25 mph; t a short
    one-way street with a signal, drawn against its traffic; n lanes of 8 ft."""
    rows = [
        {"segment_id": "g", "street_class": "arterial", "lanes": 4, "width_ft": 48.0,
         "speed_mph": 30.0, "at": _line(0, 760)},
        {"segment_id": "f", "street_class": "collector", "width_ft": 28.0, "speed_mph": 45.0,
         "at": _line(200, 1100)},
        {"segment_id": "p", "street_class": "local", "width_ft": 26.0, "speed_mph": 25.0,
         "at": _line(400, 700)},
        {"segment_id": "t", "street_class": "collector", "oneway": "backward", "lanes": 2,
         "width_ft": 24.0, "speed_mph": 35.0, "at": _line(600, 380)},
        {"segment_id": "n", "street_class": "local", "width_ft": 15.0, "speed_mph": 25.0,
         "at": _line(800, 640)},
    ]  # fmt: skip
    own = [("g", 0, 380, 2, "gates"), ("f", 200, 560, 1, "signs"), ("p", 400, 330, None, "signs"),
           ("t", 600, 120, 1, "signal"), ("n", 800, 310, 1, "signal")]  # fmt: skip
    more = [
        {"crossing_id": f"x{k}", "tracks": tracks, "control": control,
         "at": shapely.Point(_at(row, along))}
        for k, row, along, tracks, control in own
    ]  # fmt: skip
    return Scene(rows, more={"rail_crossings": more}, settings=settings)


def rail_lanes(**settings: Any) -> Scene:
    """Bike lanes over rails with gates; a symbol of each lane falls between the stop lines."""
    row = {"segment_id": "b", "street_class": "collector", "width_ft": 34.0, "bike_lane": "both",
           "speed_mph": 30.0, "at": _line(0, 700)}  # fmt: skip
    rail = {"crossing_id": "xb", "tracks": 2, "control": "gates", "at": shapely.Point(_at(0, 240))}
    return Scene([row], more={"rail_crossings": [rail]}, settings=settings)


def humps(**settings: Any) -> Scene:
    """A local street with a hump, a table and a cushion; a one-way street with a hump."""
    rows = [
        {"segment_id": "a", "street_class": "local", "width_ft": 24.0, "at": _line(0, 900)},
        {"segment_id": "b", "street_class": "local", "oneway": "backward", "lanes": 1,
         "width_ft": 20.0, "at": _line(200, 420)},
    ]  # fmt: skip
    own = [("h", 0, 200, "hump", None), ("t", 0, 480, "table", 22.0),
           ("c", 0, 730, "cushion", None), ("o", 200, 180, None, 14.0)]  # fmt: skip
    more = [
        {"hump_id": k, "kind": kind, "length_ft": long, "at": shapely.Point(_at(row, along))}
        for k, row, along, kind, long in own
    ]
    return Scene(rows, more={"speed_humps": more}, settings=settings)


def fast_yield(**settings: Any) -> Scene:
    """As `yield_tee`, its stem longer and driven at 45 mph."""
    base = yield_tee()
    stem = {**base.streets[2], "speed_mph": 45.0, "at": "LINESTRING (85.333 -650, 40 30)"}
    return Scene([*base.streets[:2], stem], base.controls, settings=settings)


def mini_box(**settings: Any) -> Scene:
    """Skewed crossing of an avenue of 4 lanes and a wide street, 62 degrees apart, no control."""
    t = math.radians(28.0)
    avenue = {"name": "Quay Avenue", "street_class": "arterial", "lanes": 4, "width_ft": 46.0}
    street = {"name": "Gull Street", "street_class": "collector", "width_ft": 44.0}
    x = (140.0, -60.0)
    far = (x[0] + 340 * math.sin(t), x[1] + 340 * math.cos(t))
    near = (x[0] - 300 * math.sin(t), x[1] - 300 * math.cos(t))
    return Scene(
        [
            {"segment_id": "a1", **avenue, "at": shapely.LineString([(-280, -60), x])},
            {"segment_id": "a2", **avenue, "at": shapely.LineString([x, (560, -60)])},
            {"segment_id": "b1", **street, "at": shapely.LineString([near, x])},
            {"segment_id": "b2", **street, "at": shapely.LineString([x, far])},
        ],
        settings=settings,
    )


def round_long(**settings: Any) -> Scene:
    """As `circle`, its streets driven at 25 mph."""
    base = circle()
    rows = [{**row, "speed_mph": 25.0} for row in base.streets]
    return Scene(rows, settings=settings)


def mixed_yield(**settings: Any) -> Scene:
    """A T with a YIELD sign, and a roundabout far from it."""
    one, two = yield_tee(), round_long()
    away = [
        {**row, "at": shapely.affinity.translate(row["at"], 2000.0, 700.0)} for row in two.streets
    ]
    return Scene([*one.streets, *away], one.controls, settings=settings)


SCENES = {
    f.__name__: f
    for f in (
        midblock,
        walk_curve,
        school_walk,
        rails,
        rail_lanes,
        humps,
        fast_yield,
        mini_box,
        round_long,
        mixed_yield,
    )
}
