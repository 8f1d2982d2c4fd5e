"""Fields under our own names: codes, numbers with units, constants, filters, tags."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from layoutgen.errors import InputError
from layoutgen.gis.read import (
    InputParams,
    column_types,
    list_layers,
    map_fields,
    read_inputs,
    read_source,
)
from layoutgen.gis.roles import role

LINE = shapely.LineString([(0, 0), (1, 1)])


def mapped(columns: dict[str, list[Any]], **spec: Any) -> tuple[gpd.GeoDataFrame, list[str]]:
    """(table, finding codes) of a streets file with these columns."""
    rows = len(next(iter(columns.values())))
    raw = gpd.GeoDataFrame(columns, geometry=[LINE] * rows, crs=4326)
    params = InputParams.model_validate({"source": "x.gpkg", **spec})
    table, found = map_fields(raw, params, role("streets"))
    return table, [f.code for f in found]


def cells(table: gpd.GeoDataFrame, name: str) -> list[Any]:
    """Values of a column, missing ones as None."""
    return [None if v is None or v != v else v for v in table[name]]


def test_codes_numbers_and_blanks() -> None:
    table, found = mapped(
        {"W": [30, 0, None], "O": ["FT", "  tf ", ""], "N": [" Elm   Way ", "", None]},
        fields={"width_ft": "W", "oneway": "O", "name": "N"},
        values={"oneway": {"FT": "forward", "TF": "backward"}, "width_ft": {"0": ""}},
    )
    assert cells(table, "width_ft") == [30.0, None, None]
    assert cells(table, "oneway") == ["forward", "backward", None]
    assert cells(table, "name") == ["Elm Way", None, None]
    assert not found


def test_units_in_text_and_in_settings() -> None:
    table, _ = mapped(
        {"W": ["3.5 m", "7", "20 ft"], "S": ["30 mph", "50", "80 km/h"]},
        fields={"width_ft": "W", "speed_mph": "S"},
        units={"width_ft": "m", "speed_mph": "km/h"},
    )
    assert cells(table, "width_ft") == pytest.approx([3.5 / 0.3048, 7 / 0.3048, 20.0])
    assert cells(table, "speed_mph") == pytest.approx([30.0, 50 / 1.609344, 80 / 1.609344])


def test_unknown_codes_are_told_once_with_their_count() -> None:
    table, found = mapped({"O": ["X", "X", "both"]}, fields={"oneway": "O"})
    assert cells(table, "oneway") == [None, None, "both"]
    assert found == ["unknown_code"]


def test_constant_for_every_row() -> None:
    table, _ = mapped({"a": [1, 2]}, constants={"surface": "paved", "lanes": 2})
    assert cells(table, "surface") == ["paved", "paved"]
    assert cells(table, "lanes") == [2, 2]
    with pytest.raises(InputError, match=r"constants\.surface: 'tar' is none of: paved, unpaved"):
        mapped({"a": [1]}, constants={"surface": "tar"})


def test_name_from_parts() -> None:
    table, _ = mapped(
        {"P": ["N", None], "N": ["Elm", "Oak"], "T": ["WAY", ""]},
        fields={"name": ["P", "N", "T"]},
    )
    assert cells(table, "name") == ["N Elm WAY", "Oak"]


def test_where_leaves_rows_out_and_says_so() -> None:
    table, found = mapped({"STATUS": ["A", "B", "A"]}, where={"STATUS": "A"})
    assert len(table) == 2
    assert found == ["filtered_out"]


def test_columns_of_our_own_name_need_no_mapping() -> None:
    table, _ = mapped({"lanes": ["4", "2.0", "2.5"]})
    assert cells(table, "lanes") == [4, 2, None]


def test_all_roles_come_to_one_plane_in_feet(tmp_path: Path) -> None:
    line = shapely.LineString([(300000, 4000000), (300000, 4000304.8)])
    gpd.GeoDataFrame({"a": [1]}, geometry=[line], crs=32618).to_file(tmp_path / "s.gpkg")
    inputs, _ = read_inputs({"streets": InputParams(source=str(tmp_path / "s.gpkg"))})
    # 304.8 m in the projection are 1,000 ft divided by its scale there (about 1.00009)
    assert inputs.tables["streets"].length.iloc[0] == pytest.approx(1000.0, rel=3e-4)
    assert inputs.rows == {"streets": 1}


def test_sentinels_are_no_measures() -> None:
    table, found = mapped({"lanes": [-1, 9999, 2], "width_ft": [-9, 30, 5000]})
    assert cells(table, "lanes") == [None, None, 2]
    assert cells(table, "width_ft") == [None, 30.0, None]
    assert found == ["unknown_code"] * 4


def test_levels_may_be_negative() -> None:
    table, found = mapped({"level_from": ["-1", "0"], "level_to": ["", "2"]})
    assert cells(table, "level_from") == [-1, 0]
    assert cells(table, "level_to") == [None, 2]
    assert not found


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("yes", True), ("Y", True), ("true", True), ("1", True), ("-1", True), ("no", False),
     ("F", False), ("0", False), ("perhaps", None), (True, True), (False, False), (1.0, True)],
)  # fmt: skip
def test_yes_and_no(text: Any, wanted: bool | None) -> None:
    table, found = mapped({"roundabout": [text]})
    assert cells(table, "roundabout") == [wanted]
    assert found == (["unknown_code"] if wanted is None else [])


def test_quotes_and_backslashes_in_tags_and_only_asked_tags_become_columns(tmp_path: Path) -> None:
    r"""GDAL packs OSM tags as "key"=>"value" with \" and \\ inside."""
    texts = [r'"width"=>"12 ft","name:de"=>"say \"oak\", \\ and =>","junk"=>"1"', None]
    raw = gpd.GeoDataFrame({"other_tags": texts}, geometry=[LINE] * 2, crs=4326)
    raw.to_file(tmp_path / "s.gpkg")
    spec = {"source": str(tmp_path / "s.gpkg"), "fields": {"width_ft": "width", "name": "name:de"}}
    inputs, _ = read_inputs({"streets": InputParams.model_validate(spec)})
    table = inputs.tables["streets"]
    assert cells(table, "width_ft") == [12.0, None]
    assert cells(table, "name") == ['say "oak", \\ and =>', None]
    raw = read_source(InputParams.model_validate(spec), role("streets"))
    assert "junk" not in raw.columns


FORMATS = {"gpkg": "GPKG", "shp": "ESRI Shapefile", "geojson": "GeoJSON", "fgb": "FlatGeobuf"}


@pytest.mark.parametrize("ending", [*FORMATS, "parquet"])
def test_formats_give_one_table(ending: str, tmp_path: Path) -> None:
    """With heights, umlauts, an empty cell and multipart lines."""
    parts = [[(-74.0, 36.9), (-74.002, 36.9)], [(-74.0, 36.8), (-74.0, 36.7)]]
    lines = [
        shapely.LineString([(-74.0, 36.9, 5.0), (-74.001, 36.902, 6.0)]),
        shapely.force_3d(shapely.MultiLineString(parts)),
    ]
    table = gpd.GeoDataFrame(
        {"ID": ["a", "b"], "NAME": ["Blüte Way", None], "LN": [2, 3]}, geometry=lines, crs=4326
    )
    path = tmp_path / f"s.{ending}"
    if ending == "parquet":
        table.to_parquet(path)
    else:
        table.to_file(path, driver=FORMATS[ending])
    fields = {"segment_id": "ID", "name": "NAME", "lanes": "LN"}
    inputs, found = read_inputs({"streets": InputParams(source=str(path), fields=fields)})
    got = inputs.tables["streets"].sort_values("segment_id")
    assert cells(got, "segment_id") == ["a", "b"]
    assert cells(got, "name") == ["Blüte Way", None]
    assert cells(got, "lanes") == [2, 3]
    assert not shapely.has_z(got.geometry).any()
    assert got.length.tolist() == pytest.approx(table.to_crs(inputs.plane).length.tolist())
    assert not found


@pytest.mark.xfail(strict=True, reason="open fault: a CSV needs `layer`")
def test_csv_with_longitude_and_latitude(tmp_path: Path) -> None:
    (tmp_path / "signs.csv").write_text("id,lon,lat,kind\n7,-74.01,36.91,stop\n8,-74.02,36.9,\n")
    spec = InputParams(
        source=str(tmp_path / "signs.csv"),
        crs="EPSG:4326",
        fields={"control": "kind", "control_id": "id"},
    )
    raw = read_source(spec, role("controls"))
    table, _ = map_fields(raw, spec, role("controls"))
    assert cells(table, "control") == ["stop", None]
    assert shapely.get_coordinates(table.geometry).tolist() == [[-74.01, 36.91], [-74.02, 36.9]]


def test_the_layer_that_fits_the_role_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "all.gpkg"
    point = shapely.Point(0, 0)
    gpd.GeoDataFrame({"a": [1]}, geometry=[LINE], crs=4326).to_file(path, layer="net")
    gpd.GeoDataFrame({"a": [2]}, geometry=[point], crs=4326).to_file(path, layer="pts")
    assert list_layers(path) == [("net", "LineString"), ("pts", "Point")]
    assert read_source(InputParams(source=str(path)), role("streets"))["a"].tolist() == [1]
    assert read_source(InputParams(source=str(path)), role("controls"))["a"].tolist() == [2]
    assert set(column_types(path, "net")) == {"a"}
    with pytest.raises(InputError, match=r"no layer 'nett'\. Did you mean 'net'\?"):
        read_source(InputParams(source=str(path), layer="nett"), role("streets"))


def test_rows_in_are_rows_used_and_rows_reported(tmp_path: Path) -> None:
    table = gpd.GeoDataFrame({"KEEP": [1.0, None, 2.0]}, geometry=[LINE] * 3, crs=4326)
    table.to_file(tmp_path / "s.gpkg")
    spec = InputParams(source=str(tmp_path / "s.gpkg"), where={"KEEP": [1, 3]})
    inputs, found = read_inputs({"streets": spec})
    assert inputs.rows["streets"] == 3
    assert len(inputs.tables["streets"]) + sum(f.rows for f in found) == 3
    assert len(inputs.tables["streets"]) == 1


@pytest.mark.parametrize(("wanted", "rows"), [(2, 2), ("2", 2), ("> 1", 3), ("not 2", 2), (9, 0)])
def test_where_reads_numbers_as_numbers(wanted: Any, rows: int) -> None:
    """A whole-number column with an empty cell comes as floats."""
    table, _ = mapped({"LANES": [2, 2.0, 3, None]}, where={"LANES": wanted})
    assert len(table) == rows
