"""The working plane: a transverse Mercator centred on the data, scale 1, in international feet.

On it published dimensions are plain coordinates, and a district is true to a few millionths.
"""

from __future__ import annotations

import math
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely
from pyproj.exceptions import CRSError

from layoutgen.errors import ConfigError, Finding, InputError

WGS84 = pyproj.CRS.from_epsg(4326)
_GLOBE = pyproj.Geod(ellps="WGS84")


def working_plane(lon: float, lat: float) -> pyproj.CRS:
    """CRS of the working plane centred on a point; rounded so that equal data give equal planes."""
    text = (
        f"+proj=tmerc +lat_0={round(lat, 3)} +lon_0={round(lon, 3)} +k=1 +x_0=0 +y_0=0 "
        "+datum=WGS84 +to_meter=0.3048 +no_defs"
    )
    return pyproj.CRS.from_proj4(text)


def parse_crs(text: str, key: str) -> pyproj.CRS:
    """CRS from an authority code or WKT.

    Raises:
        ConfigError: not a known CRS.
    """
    try:
        return pyproj.CRS.from_user_input(text)
    except CRSError:
        raise ConfigError(
            f"{key}: {text!r} is not a known CRS. Use a code such as EPSG:2264."
        ) from None


def center_of(table: gpd.GeoDataFrame) -> tuple[float, float]:
    """(lon, lat) of the middle of a table's extent; the table has a CRS and some geometry."""
    each = table.geometry.bounds.to_numpy(dtype=float)
    each = each[np.isfinite(each).all(axis=1)]
    west, south = each[:, :2].min(axis=0)
    east, north = each[:, 2:].max(axis=0)
    to_globe = pyproj.Transformer.from_crs(table.crs, WGS84, always_xy=True)
    lon, lat = to_globe.transform((west + east) / 2, (south + north) / 2)
    return float(lon), float(lat)


def check_crs(table: gpd.GeoDataFrame, label: str) -> list[Finding]:
    """Refuse a table whose coordinates cannot belong to its CRS; doubt one outside its area of use.

    Raises:
        InputError: no CRS, or coordinates that are no place on the globe in it.
    """
    if table.crs is None:
        raise InputError(
            f'{label}: the file names no CRS. Set `crs = "EPSG:..."` for this input '
            "in the project file."
        )
    if table.geometry.is_empty.all() or table.geometry.isna().all():
        return []
    each = table.geometry.bounds.to_numpy(dtype=float)
    each = each[np.isfinite(each).all(axis=1)]  # rows with broken coordinates are told one by one
    if not len(each):
        return []
    bounds = np.concatenate([each[:, :2].min(axis=0), each[:, 2:].max(axis=0)])
    if table.crs.is_projected and _looks_like_degrees(bounds):
        raise InputError(
            f"{label}: coordinates {_corner(bounds)} look like degrees, but do not fit "
            f'{_crs_name(table.crs)}, which is projected. Set `crs = "EPSG:4326"` for this input.'
        )
    west, south, east, north = _on_globe(table.crs, bounds)
    if not _is_globe((west, south, east, north)):
        raise InputError(
            f"{label}: coordinates {_corner(bounds)} do not fit {_crs_name(table.crs)}. "
            "If the file is right and its CRS label is wrong, set `crs` for this input "
            "in the project file."
        )
    return _outside_area(table.crs, (west, south, east, north), label)


def distortion(plane: pyproj.CRS, x: float, y: float) -> float:
    """Length of one plane foot at a point divided by a true foot, from the ellipsoid (geodesic)."""
    to_globe = pyproj.Transformer.from_crs(plane, WGS84, always_xy=True)
    (lon0, lon1), (lat0, lat1) = to_globe.transform([x, x + 1000.0], [y, y])
    meters = _GLOBE.inv(lon0, lat0, lon1, lat1)[2]
    return float(1000.0 * 0.3048 / meters)


def to_plane(table: gpd.GeoDataFrame, plane: pyproj.CRS) -> gpd.GeoDataFrame:
    """Table on the working plane, without Z."""
    flat = table.set_geometry(shapely.force_2d(table.geometry.array))
    return flat.set_crs(table.crs, allow_override=True).to_crs(plane)


def _looks_like_degrees(bounds: Any) -> bool:
    """Longitudes and latitudes of a place, rather than metres or feet near some origin."""
    west, south, east, north = bounds
    inside = -180 <= west <= east <= 180 and -90 <= south <= north <= 90
    return bool(inside and max(east - west, north - south) < 5.0)


def _on_globe(crs: pyproj.CRS, bounds: Any) -> tuple[float, float, float, float]:
    """Extent in degrees; infinite where the CRS cannot say."""
    to_globe = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    lons, lats = to_globe.transform(bounds[[0, 0, 2, 2]], bounds[[1, 3, 1, 3]])
    return float(min(lons)), float(min(lats)), float(max(lons)), float(max(lats))


def _is_globe(box: tuple[float, float, float, float]) -> bool:
    west, south, east, north = box
    finite = all(math.isfinite(v) for v in box)
    return finite and west >= -180.0 and east <= 180.0 and south >= -90.0 and north <= 90.0


def _outside_area(
    crs: pyproj.CRS, box: tuple[float, float, float, float], label: str
) -> list[Finding]:
    area = crs.area_of_use
    if area is None:
        return []
    slack = 2.0
    lon, lat = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    inside_lon = area.west - slack <= lon <= area.east + slack or area.west > area.east
    if inside_lon and area.south - slack <= lat <= area.north + slack:
        return []
    place = f"{lat:.2f} N, {lon:.2f} E"
    text = f"the coordinates lie at {place}, outside the area of use of {_crs_name(crs)}"
    fix = "check the CRS of the file; set `crs` for this input if its label is wrong"
    return [Finding("outside_crs_area", "warning", label, "", text, fix)]


def _corner(bounds: Any) -> str:
    return f"({bounds[0]:.6g}, {bounds[1]:.6g})"


def _crs_name(crs: pyproj.CRS) -> str:
    authority = crs.to_authority()
    return ":".join(authority) if authority else crs.name
