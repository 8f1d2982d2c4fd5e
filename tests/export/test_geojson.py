"""GeoJSON against the rules of RFC 7946, read with nothing but json."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from export.sample_package import NASTY, PLANE

from layoutgen.export.geojson import write
from layoutgen.gis.schema import LAYERS
from layoutgen.gis.write import read_layer

GEOMETRIC = tuple(lay for lay in LAYERS if lay.geometry is not None)
#: half a unit of the seventh decimal is 0.018 ft along a meridian, less across it
TOLERANCE_FT = 0.026


@pytest.fixture(scope="module")
def documents(package: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    paths = write(package, tmp_path_factory.mktemp("geojson"))
    return {path.stem: json.loads(path.read_bytes().decode("utf-8")) for path in paths}


def _rings(geometry: Any) -> list[list[list[list[float]]]]:
    """Ring lists of the polygons in a geometry."""
    if geometry is None or geometry["type"] not in ("Polygon", "MultiPolygon"):
        return []
    whole = geometry["coordinates"]
    return [whole] if geometry["type"] == "Polygon" else whole


def _turn(ring: list[list[float]]) -> float:
    """Twice the signed area, positive if counterclockwise."""
    x, y = (np.array(ring) - ring[0]).T
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))


def test_one_collection_per_layer_with_geometry(documents: dict[str, Any]) -> None:
    """Sections 3.3, 4 (no other CRS) and 7.1 (no member of another type's)."""
    assert set(documents) == {lay.name for lay in GEOMETRIC}
    for document in documents.values():
        assert set(document) == {"type", "name", "description", "features"}
        assert document["type"] == "FeatureCollection"
        assert all(f["type"] == "Feature" for f in document["features"])
        assert all({"geometry", "properties"} <= set(f) for f in document["features"])


def test_polygons_keep_the_right_hand_rule(documents: dict[str, Any]) -> None:
    """Section 3.1.6: closed rings of four positions or more, outer counterclockwise."""
    seen = 0
    for document in documents.values():
        for feature in document["features"]:
            for outer, *holes in _rings(feature["geometry"]):
                seen += 1
                assert all(r[0] == r[-1] and len(r) >= 4 for r in (outer, *holes))
                assert _turn(outer) > 0
                assert all(_turn(hole) < 0 for hole in holes)
    assert seen > 50


def test_positions_are_lon_lat_of_seven_decimals(documents: dict[str, Any]) -> None:
    """Section 3.1.1: longitude first. The town lies near 71 W, 42 N."""
    for document in documents.values():
        for feature in document["features"]:
            if feature["geometry"] is not None:
                shape = shapely.from_geojson(json.dumps(feature["geometry"]))
                lon, lat = shapely.get_coordinates(shape).T
                assert ((lon > -72) & (lon < -70) & (lat > 42) & (lat < 43)).all()
                assert (lon == np.round(lon, 7)).all()
                assert not shapely.has_z(shape)


def test_places_are_the_package_s(package: Path, documents: dict[str, Any]) -> None:
    for lay in GEOMETRIC:
        features = documents[lay.name]["features"]
        texts = [json.dumps(f["geometry"]) if f["geometry"] else None for f in features]
        ours = gpd.GeoSeries(shapely.from_geojson(texts), crs=4326).to_crs(PLANE)
        theirs = read_layer(package, lay.name).geometry.to_crs(PLANE)
        assert ours.isna().tolist() == theirs.isna().tolist()
        gap = shapely.hausdorff_distance(ours.to_numpy(), theirs.to_numpy())
        assert np.nanmax(gap) < TOLERANCE_FT


def test_lines_keep_their_direction(package: Path, documents: dict[str, Any]) -> None:
    """`left` and `forward` mean nothing on a line that was turned around."""
    first = documents["streets"]["features"][0]["geometry"]["coordinates"]
    line = read_layer(package, "streets").geometry.to_crs(4326).iloc[0]
    assert np.allclose(first, line.coords, atol=1e-7)


def test_properties_are_the_schema_s_and_texts_survive(documents: dict[str, Any]) -> None:
    for lay in GEOMETRIC:
        for feature in documents[lay.name]["features"]:
            assert list(feature["properties"]) == [c.name for c in lay.columns]
    streets = documents["streets"]["features"]
    assert [f["properties"]["name"] for f in streets] == list(NASTY)


def test_ids_are_unique_where_there_are_some(documents: dict[str, Any]) -> None:
    """Section 3.2. The visits of a tour share its id, so they have none."""
    assert documents["markings"]["features"][3]["id"] == "marking_id-3"
    for document in documents.values():
        ids = [f["id"] for f in document["features"] if "id" in f]
        assert len(ids) == len(set(ids))
    assert not any("id" in f for f in documents["visits"]["features"])


def test_a_finding_without_place_has_a_null_geometry(documents: dict[str, Any]) -> None:
    """Section 3.2."""
    assert documents["findings"]["features"][0]["geometry"] is None
