"""The working plane against the ellipsoid, and the refusal of coordinates that cannot be."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pyproj
import pytest
import shapely

from layoutgen.errors import ConfigError, InputError
from layoutgen.gis.plane import (
    center_of,
    check_crs,
    distortion,
    parse_crs,
    to_plane,
    working_plane,
)

GLOBE = pyproj.Geod(ellps="WGS84")
FOOT_M = 0.3048  # international foot, exact


def table(*points: tuple[float, float], crs: object = 4326) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=[shapely.LineString(points)], crs=crs)


@pytest.mark.parametrize(("lon", "lat"), [(-74.02, 36.9), (151.2, -33.87), (10.75, 59.91), (0, 0)])
def test_a_plane_foot_is_a_true_foot(lon: float, lat: float) -> None:
    """Geodesic length on the ellipsoid; a district of 6 miles stays true to 3 in a million."""
    plane = working_plane(lon, lat)
    assert [axis.unit_conversion_factor for axis in plane.axis_info] == [FOOT_M, FOOT_M]
    to_globe = pyproj.Transformer.from_crs(plane, 4326, always_xy=True)
    rng = np.random.default_rng(4)
    xy = rng.uniform(-15840, 15840, (60, 2))
    step = rng.normal(size=(60, 2))
    step *= 1000.0 / np.hypot(*step.T)[:, None]
    a = to_globe.transform(*xy.T)
    b = to_globe.transform(*(xy + step).T)
    _, _, meters = GLOBE.inv(a[0], a[1], b[0], b[1])
    assert np.asarray(meters) / FOOT_M == pytest.approx(1000.0, rel=3e-6)
    assert distortion(plane, 15840.0, -9000.0) == pytest.approx(1.0, abs=3e-6)


def test_scale_far_out_is_that_of_the_transverse_mercator() -> None:
    """Series k = 1 + x^2 / (2 R^2) (Snyder 1987, eq. 8-3 for k0 = 1), 100 km east of the center."""
    plane = working_plane(-74.0, 40.0)
    x = 100_000.0 / FOOT_M
    e2, a = 0.00669437999014, 6378137.0
    sin2 = np.sin(np.radians(40.0)) ** 2
    radius = a * np.sqrt(1 - e2) / (1 - e2 * sin2)
    middle = (x + 500.0) * FOOT_M  # `distortion` measures along the next 1,000 ft
    assert distortion(plane, x, 0.0) == pytest.approx(1 + middle**2 / (2 * radius**2), abs=2e-8)


def test_plane_is_north_up_and_centered() -> None:
    plane = working_plane(-74.0, 36.9)
    from_globe = pyproj.Transformer.from_crs(4326, plane, always_xy=True)
    assert from_globe.transform(-74.0, 36.9) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert from_globe.transform(-74.0, 36.91)[1] > 3000
    assert from_globe.transform(-73.99, 36.9)[0] > 2000


def test_nearly_equal_centers_give_one_plane() -> None:
    """A street added at the edge of town must not move every coordinate."""
    assert working_plane(-74.00012, 36.89988) == working_plane(-73.99991, 36.90004)


@pytest.mark.parametrize("code", [2264, 32618, 3857, 4326, 26918, 3632])
def test_any_crs_ends_at_the_same_place(code: int) -> None:
    """Survey feet, metres, Web Mercator, degrees: one plane, less than 0.01 ft apart."""
    plane = working_plane(-78.5, 35.5)
    globe = table((-78.503, 35.497), (-78.5, 35.5), (-78.496, 35.506))
    wanted = shapely.get_coordinates(globe.to_crs(plane).geometry)
    got = shapely.get_coordinates(to_plane(globe.to_crs(code), plane).geometry)
    # datum shifts between NAD83 and WGS84 are null in PROJ's ballpark; the rest is arithmetic
    assert np.abs(got - wanted).max() < (0.01 if code in (32618, 3857, 4326) else 7.0)
    lengths = np.hypot(*np.diff(got, axis=0).T)
    assert lengths == pytest.approx(np.hypot(*np.diff(wanted, axis=0).T), abs=0.01)


def test_heights_are_dropped() -> None:
    flat = to_plane(
        gpd.GeoDataFrame(geometry=[shapely.Point(-74, 36.9, 88.0)], crs=4326),
        working_plane(-74.0, 36.9),
    )
    assert not shapely.has_z(flat.geometry.iloc[0])


def test_center_is_that_of_the_extent() -> None:
    assert center_of(table((-74.2, 36.6), (-74.0, 37.0))) == pytest.approx((-74.1, 36.8))
    broken = gpd.GeoDataFrame(
        geometry=[shapely.LineString([(-74.2, 36.6), (-74.0, 37.0)]), None, shapely.LineString()],
        crs=4326,
    )
    assert center_of(broken) == pytest.approx((-74.1, 36.8))


@pytest.mark.parametrize("text", ["EPSG:1", "nonsense", "", "EPSG:2264x"])
def test_crs_that_is_none(text: str) -> None:
    with pytest.raises(ConfigError, match=r"project\.crs: .* is not a known CRS"):
        parse_crs(text, "project.crs")


def test_crs_that_fit_are_not_doubted() -> None:
    assert parse_crs("EPSG:2264", "x") == pyproj.CRS(2264)
    assert check_crs(table((2e6, 7e5), (2.1e6, 7e5), crs=2264), "streets") == []
    assert check_crs(table((-74, 36), (-73, 36)), "streets") == []
    assert check_crs(gpd.GeoDataFrame(geometry=[], crs=2264), "streets") == []


def test_no_crs_and_feet_called_degrees_are_refused() -> None:
    with pytest.raises(InputError, match=r'streets: the file names no CRS.*crs = "EPSG'):
        check_crs(table((0, 0), (1, 1), crs=None), "streets")
    with pytest.raises(InputError, match="do not fit EPSG:4326"):
        check_crs(table((2e6, 7e5), (2.1e6, 7e5)), "streets")


def test_coordinates_beside_the_area_of_use_are_doubted() -> None:
    """UTM 18 north read as North Carolina feet lies in the Atlantic; swapped axes in Antarctica."""
    utm = table((400_000, 4_000_000), (400_100, 4_000_100), crs=2264)
    (finding,) = check_crs(utm, "streets")
    assert (finding.code, finding.severity) == ("outside_crs_area", "warning")
    assert "EPSG:2264" in finding.text


@pytest.mark.parametrize("code", [2264, 32617, 32618, 26918])
def test_degrees_called_feet_or_metres_are_refused(code: int) -> None:
    """A town of a few square feet: the label of the file is wrong."""
    town = table((-79.02, 35.9), (-79.0, 35.95), crs=code)
    with pytest.raises(InputError, match="degrees"):
        check_crs(town, "streets")
