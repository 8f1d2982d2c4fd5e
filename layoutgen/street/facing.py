"""Controls that say which traffic faces them along the street line under them -> bearings.

`faces = forward` is relative to the line as digitised; later stages may join or turn lines, so the
word becomes a compass bearing while the source lines are at hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats
from layoutgen.gis.read import points_of

#: a point this near a line lies on it
_ON_LINE_FT = 3.0
#: length of line, either way, that gives its direction at a point
_CHORD_FT = 8.0
#: lines under one point whose directions differ by more do not agree
_AGREE_DEG = 60.0


def with_bearings(
    controls: gpd.GeoDataFrame, lines: NDArray[np.object_]
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Controls with the bearing of the traffic that faces them, where `faces` tells it.

    Args:
        controls: role `controls` on the working plane.
        lines: street lines in their digitised direction.
    """
    faces = controls["faces"].to_numpy(dtype=object)
    asks = np.isin(faces, ("forward", "backward")) & controls["bearing_deg"].isna().to_numpy()
    places = points_of(controls)
    asks &= ~(shapely.is_missing(places) | shapely.is_empty(places))
    rows = np.flatnonzero(asks)
    if not len(rows):
        return controls, []
    along = _bearings(places[rows], lines)
    turned = np.where(faces[rows] == "backward", along + 180.0, along) % 360.0
    bearing = controls["bearing_deg"].to_numpy(dtype=object, copy=True)
    known = np.isfinite(turned)
    bearing[rows[known]] = turned[known]
    return controls.assign(bearing_deg=bearing), _unclear(places[rows[~known]])


def _bearings(points: NDArray[np.object_], lines: NDArray[np.object_]) -> Floats:
    """Direction of the line under each point; nan where there is none, or lines disagree."""
    out = np.full(len(points), np.nan)
    point, line = shapely.STRtree(lines).query(points, predicate="dwithin", distance=_ON_LINE_FT)
    if not len(point):
        return out
    under = lines[line]
    at = shapely.line_locate_point(under, points[point])
    ahead = shapely.line_interpolate_point(under, at + _CHORD_FT)
    behind = shapely.line_interpolate_point(under, np.maximum(at - _CHORD_FT, 0.0))
    way = shapely.get_coordinates(ahead) - shapely.get_coordinates(behind)
    bearing = np.degrees(np.arctan2(way[:, 0], way[:, 1]))
    for i in np.unique(point).tolist():
        own = bearing[point == i]
        apart = np.abs((own - own[0] + 180.0) % 360.0 - 180.0)
        if apart.max() <= _AGREE_DEG:
            out[i] = own[0]
    return out


def _unclear(places: Sequence[Any]) -> list[Finding]:
    if not len(places):
        return []
    text = (
        f"{len(places)} controls say which traffic faces them along their line, but lie on no "
        "line, or where lines of several directions meet; the nearest approach was taken"
    )
    fix = "move them onto one street line, or give bearing_deg"
    place = shapely.multipoints(list(places))
    return [Finding("faces_unclear", "notice", "controls", "", text, fix, place)]
