"""Polygons of an input (districts, exclusions): mended, labelled, in an order of their own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.gis.clean import stable_id

_POLYGON_TYPES = (3, 6)
#: smaller pieces are splinters of a mended polygon
_TINY_SQFT = 1.0


@dataclass(frozen=True)
class Area:
    """One polygon of an input.

    Attributes:
        area_id: id in the file, or one made from the geometry.
        text: its name or reason, may be empty.
        shape: valid polygon or multipolygon on the working plane.
    """

    area_id: str
    text: str
    shape: Any

    @property
    def label(self) -> str:
        return self.text or self.area_id


def read_areas(
    table: gpd.GeoDataFrame, role_name: str, columns: tuple[str, str]
) -> tuple[tuple[Area, ...], list[Finding]]:
    """Areas of a table, sorted by label, and findings about rows mended or not usable.

    Args:
        table: the role's table on the working plane.
        role_name: source of the findings.
        columns: of the id and of the text.
    """
    shapes = table.geometry.to_numpy()
    out: list[Area] = []
    findings: list[Finding] = []
    mended = _mended(shapes)
    ids, texts = (_cells(table, column) for column in columns)
    for raw, shape, own, text in zip(shapes, mended, ids, texts, strict=True):
        if shape is None:
            findings.append(_unusable(role_name, own, raw))
            continue
        area = Area(own or stable_id(shape), text, shape)
        if not shapely.is_valid(raw):
            findings.append(_repaired(role_name, area, raw))
        out.append(area)
    return tuple(sorted(out, key=lambda a: (a.label, a.area_id, stable_id(a.shape)))), findings


def _cells(table: gpd.GeoDataFrame, column: str) -> list[str]:
    return ["" if v is None or v != v else str(v) for v in table[column]]


def _mended(shapes: NDArray[np.object_]) -> list[Any]:
    """Valid polygons without z; None where no area is left."""
    out: list[Any] = []
    for shape in shapes:
        if shape is None or shape.is_empty or not _finite(shape):
            out.append(None)
            continue
        valid = shapely.make_valid(shapely.force_2d(shape))
        parts = [p for p in shapely.get_parts(valid) if shapely.get_type_id(p) in _POLYGON_TYPES]
        parts = [p for p in parts if p.area > _TINY_SQFT]
        out.append(shapely.union_all(parts) if parts else None)
    return out


def _finite(shape: Any) -> bool:
    return bool(np.isfinite(shapely.get_coordinates(shape)).all())


def _unusable(role_name: str, own: str, raw: Any) -> Finding:
    text = "the row has no area that can be used"
    place = raw if raw is not None and not raw.is_empty and _finite(raw) else None
    return Finding("no_area", "error", role_name, own, text, "draw a polygon", place, 1)


def _repaired(role_name: str, area: Area, raw: Any) -> Finding:
    lost = (1.0 - area.shape.area / raw.area) if raw.area > 0 else 0.0
    text = f"the polygon crosses or touches itself; it was mended, {abs(lost):.0%} of it changed"
    return Finding(
        "polygon_mended", "warning", role_name, area.area_id, text, "redraw it", area.shape
    )
