"""Fields under our own names: codes, numbers with units, constants, filters, tags."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from layoutgen.errors import InputError
from layoutgen.gis.read import InputParams, map_fields, read_inputs
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
