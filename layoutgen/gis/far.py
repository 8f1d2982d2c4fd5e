"""Inputs that lie nowhere near the streets: mostly a wrong CRS."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from layoutgen.errors import Finding

#: farther than this from the box around the streets is far (ft): a mile
FAR_FT = 5280.0
_FT_PER_MILE = 5280.0


def far_inputs(tables: Mapping[str, gpd.GeoDataFrame]) -> list[Finding]:
    """A finding for every input of which more than half lies far from all streets.

    Args:
        tables: by role, on the working plane (ft).
    """
    streets = tables.get("streets")
    if streets is None or not len(streets):
        return []
    around = shapely.box(*streets.total_bounds)
    out = []
    for role, table in tables.items():
        shapes = table.geometry.dropna().to_numpy()
        away = shapely.distance(shapes, around) if len(shapes) else np.zeros(0)
        far = away > FAR_FT
        if far.sum() * 2 > len(away):
            out.append(_far(role, int(far.sum()), len(away), float(np.median(away[far]))))
    return out


def _far(role: str, far: int, rows: int, away_ft: float) -> Finding:
    return Finding(
        code="far_from_streets",
        severity="warning",
        source=role,
        feature_id="",
        text=f"{far} of {rows} rows lie about {away_ft / _FT_PER_MILE:,.0f} miles from the streets",
        fix=f"check the CRS of inputs.{role} and of inputs.streets; set `crs` there if it is wrong",
    )
