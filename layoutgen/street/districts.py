"""Districts: which streets and intersections are laid out, and the label they carry.

A street belongs to the district that holds its middle, an intersection to the one that holds its
node. Neither is ever cut in two; a street outside still shapes the intersections it leads to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.config import Params, length
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Polylines
from layoutgen.street.areas import Area, read_areas
from layoutgen.street.design import Design, Segment

#: a place this near to the border of a district lies on it, whatever rounding says
_ON_BORDER_FT = 1.0


class DistrictParams(Params):
    """`[districts]`: what counts as inside."""

    margin_ft: float = length(
        "10 ft",
        low="0 ft",
        high="200 ft",
        source="common practice",
        text="a street or intersection this near to a district is inside: borders run on streets",
    )


def read_districts(
    tables: Mapping[str, gpd.GeoDataFrame],
) -> tuple[tuple[Area, ...] | None, list[Finding]]:
    """Districts by label; None where none are given, so that everything is laid out."""
    if "districts" not in tables:
        return None, []
    areas, findings = read_areas(tables["districts"], "districts", ("district_id", "name"))
    if areas:
        return areas, findings
    text = "no row holds a district; all streets are laid out"
    fix = "check the file, or remove [inputs.districts]"
    return None, [*findings, Finding("no_districts", "warning", "districts", "", text, fix)]


def labels_at(districts: Sequence[Area] | None, xy: Floats, margin_ft: float) -> list[str | None]:
    """Label per place: "" where there are no districts at all, None where it is in none of them.

    Of several districts that hold a place, or share the border it lies on, the label that comes
    first counts; else the nearest district within the margin.
    """
    if districts is None:
        return [""] * len(xy)
    out: list[str | None] = [None] * len(xy)
    points = shapely.points(xy)
    shapes = np.array([area.shape for area in districts], dtype=object)
    reach = max(margin_ft, _ON_BORDER_FT)
    shapely.prepare(shapes)
    which, place = shapely.STRtree(points).query(shapes, predicate="dwithin", distance=reach)
    far = np.zeros(len(which))
    apart = ~shapely.intersects(shapes[which], points[place])
    far[apart] = shapely.distance(points[place[apart]], shapes[which[apart]])
    far = np.where(far <= _ON_BORDER_FT, 0.0, np.round(far, 2))
    for i in np.lexsort([which, far, place])[::-1].tolist():  # the best of a place is set last
        out[place[i]] = districts[which[i]].label
    return out


def with_districts(
    segments: Sequence[Segment], axes: Polylines, districts: Sequence[Area] | None, margin_ft: float
) -> tuple[Segment, ...]:
    """Segments with their district, by the middle of their axis."""
    if districts is None:
        return tuple(segments)
    middle = axes.locate(np.arange(len(segments)), axes.lengths / 2)
    return tuple(
        replace(segment, district=label or "", outside=label is None)
        for segment, label in zip(segments, labels_at(districts, middle, margin_ft), strict=True)
    )


def left_out(design: Design, cleaned: gpd.GeoDataFrame) -> list[Finding]:
    """One finding about all streets that are not laid out; its rows are lines of the input.

    Args:
        design: street model with districts.
        cleaned: street lines it was built of (`gis.clean`).
    """
    shown = set(design.in_layout())
    gone = [s for s in design.segments if s.index not in shown]
    if not gone:
        return []
    kept = {source for i in shown for source in design.segments[i].source_ids}
    lost = {source for s in gone for source in s.source_ids} - kept
    rows = int(cleaned.loc[cleaned["source_id"].isin(lost), "source_row"].nunique())
    lent = sum(design.segments[i].outside for i in shown)
    text = (
        f"{len(gone)} of {len(design.segments)} segments lie outside every district and are left "
        f"out; {lent} more lie outside too, but lead to an intersection inside and get only what "
        "belongs to it"
    )
    fix = "enlarge the districts or districts.margin, or remove [inputs.districts] to lay out all"
    severity: Literal["notice", "warning"] = "notice" if shown else "warning"
    return [Finding("outside_districts", severity, "streets", "", text, fix, None, rows)]
