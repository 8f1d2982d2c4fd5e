"""Tiny streets as code, each with a drawing, and what turns them into designs and layouts.

Coordinates are feet on the working plane, x east, y north. No scene is square or centred: square
crosses at the origin hide swapped sides, signs and orders.
"""

from __future__ import annotations

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
from layoutgen.settings import Project, project_of, street_params
from layoutgen.street.build import build_design
from layoutgen.street.design import Design

PLANE: pyproj.CRS = working_plane(-74.0, 36.9)
Row = Mapping[str, Any]


@dataclass(frozen=True)
class Scene:
    """Rows per role; each row holds our fields and `at`, its geometry as WKT or a shape."""

    streets: Sequence[Row]
    controls: Sequence[Row] = ()
    schools: Sequence[Row] = ()
    intersections: Sequence[Row] = ()
    curbs: Sequence[Row] = ()
    crossing_points: Sequence[Row] = ()
    curb_ramps: Sequence[Row] = ()
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
    markings, more = draw_markings(ask_rules(design, own.rules), design.axes, "waterborne")
    return markings, design, found + more


def _table(role: str, rows: Sequence[Row]) -> gpd.GeoDataFrame:
    names = [f.name for r in ROLES if r.name == role for f in r.fields]
    shapes = [shapely.from_wkt(r["at"]) if isinstance(r["at"], str) else r["at"] for r in rows]
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


SCENES = {f.__name__: f for f in (cross, tee, five_lane, one_way, curve, circle, school)}
