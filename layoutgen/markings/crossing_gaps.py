"""Long lines end at a crosswalk inside a block, as they do at intersections."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

#: the rule whose crosswalks lie inside blocks
_RULE = "midblock_crosswalk"
#: from the crosswalk to the line, as `intersection.lines_gap` (STOP-02)
_GAP_FT = 4.0
#: smaller rests of a piece are not painted (sq ft)
_LEAST_SQFT = 0.2


def lines_off_crosswalks(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Markings table whose lines leave out the crosswalks of blocks, between the bars too."""
    walks = ((table["rule"] == _RULE) & (table["kind"] == "crosswalk")).to_numpy(dtype=bool)
    is_line = table["is_line"].to_numpy(dtype=bool)
    if not walks.any() or not is_line.any():
        return table
    shapes = table.geometry.to_numpy().copy()
    rooms = shapely.buffer(shapely.convex_hull(shapes[walks]), _GAP_FT, join_style="mitre")
    levels = table["level"].to_numpy()
    lines = np.flatnonzero(is_line)
    room, line = shapely.STRtree(shapes[lines]).query(rooms, predicate="intersects")
    same = levels[walks][room] == levels[lines[line]]
    for k in np.unique(lines[line[same]]).tolist():
        own = rooms[room[same & (lines[line] == k)]]
        left = shapely.difference(shapes[k], shapely.union_all(own))
        rest = shapely.get_parts(shapely.set_precision(left, 2e-7))
        shapes[k] = shapely.MultiPolygon(list(rest[shapely.area(rest) >= _LEAST_SQFT]))
    out = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
    area = shapely.area(shapes)
    out = out.assign(area_sqft=area, length_ft=area / out["width_ft"].to_numpy(dtype=float))
    return out[area > 0].reset_index(drop=True)
