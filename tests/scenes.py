"""Tiny streets as code, each with a drawing, and what turns them into designs and layouts.

Coordinates are feet on the working plane, x east, y north. No scene is square or centred: square
crosses at the origin hide swapped sides, signs and orders.
"""

from __future__ import annotations

import importlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
import shapely.ops

from layoutgen.config import Raw, merge
from layoutgen.errors import Finding
from layoutgen.gis.plane import working_plane
from layoutgen.gis.roles import ROLES
from layoutgen.markings.engine import ask_rules, draw_markings, leg_policy
from layoutgen.settings import Project, exclusions_of, project_of, street_params
from layoutgen.street.build import build_design
from layoutgen.street.design import Design

PLANE: pyproj.CRS = working_plane(-74.0, 36.9)
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Scene:
    """Rows per role; each row holds our fields and `at`, its geometry as WKT or a shape.

    `more` holds the rows of roles that few scenes have.
    """

    streets: Sequence[Row]
    controls: Sequence[Row] = ()
    schools: Sequence[Row] = ()
    intersections: Sequence[Row] = ()
    curbs: Sequence[Row] = ()
    crossing_points: Sequence[Row] = ()
    curb_ramps: Sequence[Row] = ()
    more: Mapping[str, Sequence[Row]] = field(default_factory=dict)
    bike_facilities: Sequence[Row] = ()
    parking: Sequence[Row] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)

    def tables(self) -> dict[str, gpd.GeoDataFrame]:
        """Role tables on the working plane."""
        rows = {
            "streets": self.streets,
            "controls": self.controls,
            "schools": self.schools,
            "intersections": self.intersections,
            "curbs": self.curbs,
            "crossing_points": self.crossing_points,
            "curb_ramps": self.curb_ramps,
            "bike_facilities": self.bike_facilities,
            "parking": self.parking,
            **self.more,
        }
        return {name: _table(name, found) for name, found in rows.items() if found}


def project(settings: Mapping[str, Any] | None = None) -> Project:
    """A checked project with no files behind it."""
    table = merge({"inputs": {"streets": {"source": "none.shp"}}}, settings or {})
    return project_of(Raw(table, ((Path("scene.toml"), dict(table), ""),)), Path("scene.toml"))


def design_of(scene: Scene) -> tuple[Design, list[Finding]]:
    """Street model of a scene."""
    own = project(scene.settings)
    return build_design(scene.tables(), street_params(own.settings), leg_policy(own.rules))


def layout_of(scene: Scene) -> tuple[gpd.GeoDataFrame, Design, list[Finding]]:
    """Markings of a scene."""
    own = project(scene.settings)
    return layout_from(scene.tables(), own)


def layout_from(
    tables: Mapping[str, gpd.GeoDataFrame], own: Project
) -> tuple[gpd.GeoDataFrame, Design, list[Finding]]:
    """Markings of role tables."""
    design, found = build_design(tables, street_params(own.settings), leg_policy(own.rules))
    asked, areas = ask_rules(design, own.rules), exclusions_of(design, own.settings)
    markings, more = draw_markings(asked, design.axes, "waterborne", areas)
    return markings, design, found + more


def _table(role: str, rows: Sequence[Row]) -> gpd.GeoDataFrame:
    names = [f.name for r in ROLES if r.name == role for f in r.fields]
    places = [r.get("at") for r in rows]
    shapes = [shapely.from_wkt(p) if isinstance(p, str) else p for p in places]
    columns = {n: pd.Series([row.get(n) for row in rows], dtype=object) for n in names}
    return gpd.GeoDataFrame(columns, geometry=shapes, crs=PLANE)


def cross(**settings: Any) -> Scene:
    r"""Skewed signal crossing of an avenue (a*) and a street (b*), 70 degrees apart.

             b2 /
               /
    a1 -------+------- a2       a: arterial, 4 lanes, 48 ft, west to east
             /                  b: collector, 2 lanes, 36 ft, south to north
         b1 /
    """
    far = shapely.Point(100.0 + 340.0 * 0.342020143, 50.0 + 340.0 * 0.939692621)
    near = shapely.Point(100.0 - 330.0 * 0.342020143, 50.0 - 330.0 * 0.939692621)
    avenue = {"name": "Quay Avenue", "street_class": "arterial", "lanes": 4, "width_ft": 48.0}
    street = {"name": "Gull Street", "street_class": "collector", "width_ft": 36.0}
    return Scene(
        streets=[
            {"segment_id": "a1", **avenue, "at": "LINESTRING (-300 50, 100 50)"},
            {"segment_id": "a2", **avenue, "at": "LINESTRING (100 50, 520 50)"},
            {"segment_id": "b1", **street, "at": shapely.LineString([near, (100, 50)])},
            {"segment_id": "b2", **street, "at": shapely.LineString([(100, 50), far])},
        ],
        controls=[{"control_id": "s1", "control": "signal", "at": "POINT (130 85)"}],
        settings=settings,
    )


def tee(**settings: Any) -> Scene:
    r"""Local street (s) ending on a collector (m1, m2); a STOP sign faces the stem.

    m1 ------+------- m2        m: 36 ft, double solid center line
             |  (stop)
             s
    """
    main = {"name": "Mole Road", "street_class": "collector", "width_ft": 36.0}
    return Scene(
        streets=[
            {"segment_id": "m1", **main, "at": "LINESTRING (-260 10, 40 30)"},
            {"segment_id": "m2", **main, "at": "LINESTRING (40 30, 390 53.333)"},
            {
                "segment_id": "s",
                "name": "Pier Lane",
                "street_class": "local",
                "width_ft": 30.0,
                "at": "LINESTRING (60 -270, 40 30)",
            },
        ],
        controls=[
            {"control_id": "p", "control": "stop", "bearing_deg": 356.0, "at": "POINT (61 -2)"}
        ],
        settings=settings,
    )


def five_lane(**settings: Any) -> Scene:
    r"""Five-lane arterial with a two-way left-turn lane through a signal; a local street crosses.

          n
    w ----+---- e              w, e: 62 ft, lanes 5, center turn lane
          s
    """
    main = {
        "name": "Causeway",
        "street_class": "arterial",
        "lanes": 5,
        "width_ft": 62.0,
        "center_turn_lane": True,
    }
    side = {"name": "Rope Street", "street_class": "local", "width_ft": 30.0}
    return Scene(
        streets=[
            {"segment_id": "w", **main, "at": "LINESTRING (-600 -40, 20 5)"},
            {"segment_id": "e", **main, "at": "LINESTRING (20 5, 660 51.45)"},
            {"segment_id": "n", **side, "at": "LINESTRING (20 5, -10 340)"},
            {"segment_id": "s", **side, "at": "LINESTRING (45 -310, 20 5)"},
        ],
        controls=[{"control_id": "s1", "control": "signal", "at": "POINT (55 40)"}],
        settings=settings,
    )


def one_way(**settings: Any) -> Scene:
    r"""One-way street of three lanes, digitised against its traffic, across an all-way stop.

    <--- o1 --- + <--- o2 ---   40 ft, bike lane on the left side of travel
                |
                c1, c2
    """
    way = {
        "name": "Lantern Street",
        "street_class": "collector",
        "oneway": "backward",
        "lanes": 3,
        "width_ft": 41.0,
        "bike_lane": "right",
        "turn_lanes_backward": "left|through|through;right",
    }
    side = {"name": "Net Lane", "street_class": "local", "width_ft": 28.0}
    stop = {"control": "all_way_stop"}
    return Scene(
        streets=[
            {"segment_id": "o1", **way, "at": "LINESTRING (-420 33, 10 -7)"},
            {"segment_id": "o2", **way, "at": "LINESTRING (10 -7, 460 -48.86)"},
            {"segment_id": "c1", **side, "at": "LINESTRING (10 -7, 60 320)"},
            {"segment_id": "c2", **side, "at": "LINESTRING (-30 -300, 10 -7)"},
        ],
        controls=[{"control_id": "x", **stop, "at": "POINT (30 12)"}],
        settings=settings,
    )


def curve(**settings: Any) -> Scene:
    """Collector on a curve of 250 ft radius with bike lanes and parking; both ends are dead."""
    arc = shapely.Point(12, 7).buffer(250.0, quad_segs=48).exterior
    line = shapely.ops.substring(arc, 30.0, 560.0)
    return Scene(
        streets=[
            {
                "segment_id": "k",
                "name": "Bight Drive",
                "street_class": "collector",
                "width_ft": 46.0,
                "parking": "both",
                "bike_lane": "both",
                "at": line,
            }
        ],
        settings=settings,
    )


def circle(**settings: Any) -> Scene:
    r"""Roundabout of four one-way arcs, counterclockwise; four legs with bike lanes on both sides.

            n
          /---\
      w -|     |- e        circle: 60 ft radius, 18 ft roadway; legs: collectors, 44 ft
          \---/
            s
    """
    center = shapely.Point(15.0, -9.0)
    ring = shapely.get_coordinates(center.buffer(60.0, quad_segs=16).exterior)[::-1]
    ring = np.vstack([ring[:-1][5:], ring[:-1][:5]])
    arcs = [np.vstack([ring[16 * k : 16 * k + 16], ring[(16 * k + 16) % 64]]) for k in range(4)]
    way = {"street_class": "collector", "oneway": "forward", "roundabout": True, "width_ft": 18.0}
    leg = {"street_class": "collector", "width_ft": 44.0, "bike_lane": "both"}
    rows: list[Row] = [
        {"segment_id": f"r{k}", **way, "at": shapely.LineString(arc)} for k, arc in enumerate(arcs)
    ]
    middle = np.array([center.x, center.y])
    for k, arc in enumerate(arcs):
        out = arc[0] + (arc[0] - middle) / 60.0 * (330.0 + 20.0 * k)
        rows.append({"segment_id": f"l{k}", **leg, "at": shapely.LineString([arc[0], out])})
    return Scene(rows, settings=settings)


def school(**settings: Any) -> Scene:
    """Four-lane arterial and two-lane street past a school, whose zone begins inside each block."""
    base = cross()
    return Scene(
        streets=base.streets,
        controls=base.controls,
        schools=[{"school_id": "heron", "name": "Heron School", "at": "POINT (180 130)"}],
        settings=merge({"school_zone": {"zone": "200 ft"}}, settings),
    )


def yield_tee(**settings: Any) -> Scene:
    """As `tee`, but a YIELD sign faces the stem."""
    base = tee()
    sign = {"control_id": "p", "control": "yield", "bearing_deg": 356.0, "at": "POINT (61 -2)"}
    return Scene(base.streets, [sign], settings=settings)


_BOULEVARD = {
    "name": "Harbor Boulevard",
    "street_class": "arterial",
    "oneway": "forward",
    "lanes": 2,
    "width_ft": 26.0,
}
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
            {
                "segment_id": "s",
                "name": "Cod Lane",
                **side,
                "at": shapely.LineString([(40, -300), a]),
            },
            {
                "segment_id": "n",
                "name": "Eel Lane",
                **side,
                "at": shapely.LineString([b, (60, 340)]),
            },
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
    """A signal crossing whose south-west corner is cut by a slip lane, from west to south."""
    x = (15.0, 25.0)
    d, m = (-85.0, 19.0), (11.0, -75.0)
    avenue = {"name": "Dock Avenue", "street_class": "arterial", "lanes": 4, "width_ft": 48.0}
    street = {"name": "Sail Street", "street_class": "collector", "width_ft": 34.0}
    lane = {
        "name": "",
        "street_class": "collector",
        "oneway": "forward",
        "lanes": 1,
        "width_ft": 16.0,
    }
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


def facilities(**settings: Any) -> Scene:
    r"""Four streets far apart, each with bike facilities drawn on or beside its line.

    c ->--------------- c: one-way, 25 mph, contraflow lane on the left, parking on the right
    f -<--------------- f: one-way, 40 mph, contraflow lane with a buffer
    t ================= t: two-way track north of the street, parking on both sides
    b ================= b: buffered lane north, separated lane south, parking on both sides
    """
    local, main = {"street_class": "local"}, {"street_class": "collector"}
    rows: list[Row] = [
        {"segment_id": "c", **local, "oneway": "forward", "width_ft": 36.0, "parking": "right",
         "at": "LINESTRING (-300 600, 210 630)"},
        {"segment_id": "f", **main, "oneway": "backward", "width_ft": 34.0, "speed_mph": 40.0,
         "at": "LINESTRING (-280 400, 200 390)"},
        {"segment_id": "t", **main, "width_ft": 64.0, "parking": "both",
         "at": "LINESTRING (-310 200, 220 180)"},
        {"segment_id": "b", **main, "width_ft": 66.0, "parking": "both",
         "at": "LINESTRING (-290 10, 230 20)"},
    ]  # fmt: skip
    lines: list[Row] = [
        {"facility_id": "k1", "facility": "contraflow", "at": "LINESTRING (-300 603, 210 633)"},
        {"facility_id": "k2", "facility": "contraflow", "at": "LINESTRING (-280 400, 200 390)"},
        {"facility_id": "k3", "facility": "separated", "side": "one", "direction": "both",
         "at": "LINESTRING (-310 230, 220 210)"},
        {"facility_id": "k4", "facility": "buffered", "side": "left",
         "at": "LINESTRING (-290 10, 230 20)"},
        {"facility_id": "k5", "facility": "separated", "side": "one",
         "at": "LINESTRING (230 -10, -290 -20)"},
    ]  # fmt: skip
    return Scene(rows, bike_facilities=lines, settings=settings)


#: crossings of several nodes
WHOLE = (divided, jog, ring, slip)
SCENES: dict[str, Any] = {
    f.__name__: f
    for f in (cross, tee, five_lane, one_way, curve, circle, school, facilities, yield_tee, *WHOLE)
}

# a family of markings may bring scenes of its own
for _path in sorted(Path(__file__).parent.glob("scenes_*.py")):
    SCENES |= importlib.import_module(_path.stem).SCENES
