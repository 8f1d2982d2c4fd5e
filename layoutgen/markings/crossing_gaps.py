"""Long lines end at a crosswalk inside a block, as they do at intersections."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import shapely

#: the rule whose crosswalks lie inside blocks
_RULE = "midblock_crosswalk"
#: from the crosswalk to the line, as `intersection.lines_gap` (STOP-02)
_GAP_FT = 4.0
#: smaller rests of a piece are not painted (sq ft)
_LEAST_SQFT = 0.2
#: nor rests shorter than this: half the segment of a broken line (LINE-04), or half a shorter dot
_SHORTEST_FT = 5.0


def lines_off_crosswalks(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Markings table whose lines leave out the crosswalks of blocks, between the bars too."""
    walks = ((table["rule"] == _RULE) & (table["kind"] == "crosswalk")).to_numpy(dtype=bool)
    is_line = table["is_line"].to_numpy(dtype=bool)
    if not walks.any() or not is_line.any():
        return table
    shapes = table.geometry.to_numpy().copy()
    rooms = shapely.buffer(shapely.convex_hull(shapes[walks]), _GAP_FT, join_style="mitre")
    levels, widths = table["level"].to_numpy(), table["width_ft"].to_numpy(dtype=float)
    lines = np.flatnonzero(is_line)
    room, line = shapely.STRtree(shapes[lines]).query(rooms, predicate="intersects")
    same = levels[walks][room] == levels[lines[line]]
    for k in np.unique(lines[line[same]]).tolist():
        own = rooms[room[same & (lines[line] == k)]]
        shapes[k] = _left(shapes[k], shapely.union_all(own), widths[k])
    out = table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
    area = shapely.area(shapes)
    out = out.assign(area_sqft=area, length_ft=area / out["width_ft"].to_numpy(dtype=float))
    return out[area > 0].reset_index(drop=True)


def _left(line: Any, cutter: Any, width_ft: float) -> Any:
    """Pieces of a line outside of a crosswalk's room, without stubs too short to be read."""
    out: list[Any] = []
    for piece in shapely.get_parts(line):
        if not shapely.intersects(piece, cutter):
            out.append(piece)
            continue
        shortest = min(_SHORTEST_FT, piece.area / width_ft / 2) - 1e-6
        least = max(_LEAST_SQFT, shortest * width_ft)
        rest = shapely.set_precision(shapely.difference(piece, cutter), 2e-7)
        out += [p for p in shapely.get_parts(rest) if p.area >= least]
    return shapely.MultiPolygon(out)
