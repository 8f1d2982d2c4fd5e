"""Streets whose crossings have several nodes; feet, x east, y north, nothing square or centred."""

from __future__ import annotations

import math
from typing import Any

import shapely
from scenes import Scene

_BOULEVARD = {"name": "Harbor Boulevard", "street_class": "arterial", "oneway": "forward", "lanes": 2,
              "width_ft": 26.0}  # fmt: skip
_STREET = {"name": "Net Street", "street_class": "collector", "width_ft": 34.0}


def divided(gap_ft: float = 44.0, **settings: Any) -> Scene:
    r"""A street (n, m, s) across a boulevard of two one-way carriageways, axes `gap_ft` apart.

         n
    w2 --+-- e2  <-      boulevard: 26 ft each, 2 lanes, slightly uphill to the east
         m
    w1 --+-- e1  ->
         s
    """
    up = 0.06
    y0, y1 = 40.0, 40.0 + gap_ft

    def at(x: float, y: float) -> tuple[float, float]:
        return (x, y + up * x)

    low, high = at(70.0, y0), at(76.0, y1)
    return Scene(
        streets=[
            {"segment_id": "w1", **_BOULEVARD, "at": shapely.LineString([at(-400, y0), low])},
            {"segment_id": "e1", **_BOULEVARD, "at": shapely.LineString([low, at(460, y0)])},
            {"segment_id": "e2", **_BOULEVARD, "at": shapely.LineString([at(470, y1), high])},
            {"segment_id": "w2", **_BOULEVARD, "at": shapely.LineString([high, at(-390, y1)])},
            {"segment_id": "s", **_STREET, "at": shapely.LineString([(30, -320), low])},
            {"segment_id": "m", **_STREET, "at": shapely.LineString([low, high])},
            {"segment_id": "n", **_STREET, "at": shapely.LineString([high, (116, 450)])},
        ],
        controls=[{"control_id": "c", "control": "signal", "at": shapely.Point(90, 60)}],
        settings=settings,
    )


def jog(step_ft: float = 24.0, **settings: Any) -> Scene:
    """Two side streets that nearly face each other: n joins `step_ft` east of s."""
    main = {"name": "Rope Street", "street_class": "collector", "width_ft": 36.0}
    side = {"street_class": "local", "width_ft": 28.0}
    a, b = (30.0, 22.0), (30.0 + step_ft, 22.0)
    return Scene(
        streets=[
            {"segment_id": "w", **main, "at": shapely.LineString([(-330, 12), a])},
            {"segment_id": "m", **main, "at": shapely.LineString([a, b])},
            {"segment_id": "e", **main, "at": shapely.LineString([b, (420, 30)])},
            {"segment_id": "s", "name": "Cod Lane", **side, "at": shapely.LineString([(40, -300), a])},
            {"segment_id": "n", "name": "Eel Lane", **side, "at": shapely.LineString([b, (60, 340)])},
        ],
        settings=settings,
    )


def ring(flagged: bool = True, **settings: Any) -> Scene:
    """A roundabout of four streets; w, s and e part into entry and exit, n does not.

    Radius 55 ft, 18 ft wide, driven counterclockwise; the splits lie 150 ft from the middle.
    """
    cx, cy, radius = 20.0, -35.0, 55.0
    round_ = {"name": "", "street_class": "collector", "oneway": "forward", "lanes": 1,
              "width_ft": 18.0, "roundabout": flagged}  # fmt: skip

    def at(deg: float, r: float = radius) -> tuple[float, float]:
        t = math.radians(deg)
        return (cx + r * math.sin(t), cy + r * math.cos(t))

    rows: list[dict[str, Any]] = []
    nodes = [4.0]  # compass bearings of the ring's nodes
    for name, deg in (("e", 97.0), ("s", 184.0), ("w", 275.0)):
        street = {"name": f"{name.upper()} Quay", "street_class": "collector"}
        half = {**street, "oneway": "forward", "lanes": 1, "width_ft": 16.0}
        fork, far = at(deg, 150.0), at(deg, 480.0)
        # looking out, departing traffic keeps to the right, which is clockwise
        leave, enter = at(deg + 16), at(deg - 16)
        nodes += [deg - 16, deg + 16]
        rows += [
            {"segment_id": f"{name}", **street, "width_ft": 34.0,
             "at": shapely.LineString([fork, far])},
            {"segment_id": f"{name}-out", **half, "at": shapely.LineString([leave, fork])},
            {"segment_id": f"{name}-in", **half, "at": shapely.LineString([fork, enter])},
        ]  # fmt: skip
    rows.append({"segment_id": "n", "name": "N Quay", "street_class": "local", "width_ft": 30.0,
                 "at": shapely.LineString([at(4.0), at(4.0, 400.0)])})  # fmt: skip
    stops = sorted(nodes, reverse=True)
    for k, deg in enumerate(stops):
        end = stops[(k + 1) % len(stops)]
        span = (deg - end) % 360.0
        arc = [at(deg - span * t / 12) for t in range(13)]
        rows.append({"segment_id": f"r{k}", **round_, "at": shapely.LineString(arc)})
    return Scene(streets=rows, settings=settings)


def slip(**settings: Any) -> Scene:
    """A signal crossing whose south-west corner is cut by a slip lane from the west to the south."""
    x = (15.0, 25.0)
    d, m = (-85.0, 19.0), (11.0, -75.0)
    avenue = {"name": "Dock Avenue", "street_class": "arterial", "lanes": 4, "width_ft": 48.0}
    street = {"name": "Sail Street", "street_class": "collector", "width_ft": 34.0}
    lane = {"name": "", "street_class": "collector", "oneway": "forward", "lanes": 1, "width_ft": 16.0}
    return Scene(
        streets=[
            {"segment_id": "w", **avenue, "at": shapely.LineString([(-420, -1), d])},
            {"segment_id": "w0", **avenue, "at": shapely.LineString([d, x])},
            {"segment_id": "e", **avenue, "at": shapely.LineString([x, (440, 50)])},
            {"segment_id": "s", **street, "at": shapely.LineString([(0, -360), m])},
            {"segment_id": "s0", **street, "at": shapely.LineString([m, x])},
            {"segment_id": "n", **street, "at": shapely.LineString([x, (30, 390)])},
            {"segment_id": "slip", **lane,
             "at": shapely.LineString([d, (-40, 8), (-8, -20), m])},
        ],
        controls=[{"control_id": "c", "control": "signal", "at": shapely.Point(30, 40)}],
        settings=settings,
    )  # fmt: skip
