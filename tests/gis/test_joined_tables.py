"""Tables without geometry as inputs: every format reads alike; a run from files adds up."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from layoutgen import pipeline
from layoutgen.errors import InputError
from layoutgen.gis.read import InputParams, read_inputs, read_source
from layoutgen.gis.roles import role
from layoutgen.gis.write import read_layer

FEET = "EPSG:2264"
X, Y = 2_912_000.0, 222_000.0
ROWS = {"SEG": ["1", "2", None], "WID": [40.0, None, 30.0]}


def street_file(folder: Path) -> Path:
    """Blocks 1 and 2 in a row, 3 (north) and 4 (south) at the node between; 5 far to the south."""
    lines = [
        shapely.LineString([(X + 400.0 * i, Y), (X + 400.0 * (i + 1), Y + 9)]) for i in range(2)
    ]
    lines[1] = shapely.LineString([(X + 400.0, Y + 9), (X + 830.0, Y)])
    lines += [
        shapely.LineString([(X + 400.0, Y + 9), (X + 420.0, Y + 380)]),
        shapely.LineString([(X + 380.0, Y - 350), (X + 400.0, Y + 9)]),
        shapely.LineString([(X, Y - 900), (X + 500.0, Y - 880)]),
    ]
    path = folder / "streets.gpkg"
    names = ["Fern Street", "Fern Street", "Moss Lane", "Moss Lane", "Burr Lane"]
    classes = ["collector", "collector", "local", "local", "local"]
    table = {"segment_id": [1, 2, 3, 4, 5], "name": names, "street_class": classes}
    gpd.GeoDataFrame(table, geometry=lines, crs=FEET).to_file(path)
    return path


def as_csv(path: Path, table: pd.DataFrame) -> str:
    table.to_csv(path / "t.csv", index=False)
    return "t.csv"


def as_semicolons(path: Path, table: pd.DataFrame) -> str:
    table.to_csv(path / "t.csv", index=False, sep=";", encoding="utf-8-sig")
    return "t.csv"


def as_parquet(path: Path, table: pd.DataFrame) -> str:
    table.to_parquet(path / "t.parquet")
    return "t.parquet"


def as_geoparquet(path: Path, table: pd.DataFrame) -> str:
    points = [shapely.Point(0, i) for i in range(len(table))]
    gpd.GeoDataFrame(table, geometry=points, crs=4326).to_parquet(path / "t.parquet")
    return "t.parquet"


def as_points(path: Path, table: pd.DataFrame) -> str:
    points = [shapely.Point(0, i) for i in range(len(table))]
    gpd.GeoDataFrame(table, geometry=points, crs=4326).to_file(path / "t.gpkg")
    return "t.gpkg"


def as_package_table(path: Path, table: pd.DataFrame) -> str:
    """An attribute table beside a layer with geometry, which must not be taken."""
    as_points(path, table.assign(WID=99.0))
    with closing(sqlite3.connect(path / "t.gpkg")) as base:
        base.execute("CREATE TABLE widths (fid INTEGER PRIMARY KEY, SEG TEXT, WID REAL)")
        rows = [(k, *(None if v != v else v for v in r)) for k, r in enumerate(table.to_numpy(), 1)]
        base.executemany("INSERT INTO widths VALUES (?, ?, ?)", rows)
        base.execute(
            "INSERT INTO gpkg_contents (table_name, data_type, identifier, last_change) "
            "VALUES ('widths', 'attributes', 'widths', '2026-01-01T00:00:00Z')"
        )
        base.commit()
    return "t.gpkg"


WRITERS: list[Callable[[Path, pd.DataFrame], str]] = [
    *(as_csv, as_semicolons, as_parquet, as_geoparquet, as_points, as_package_table),
]


@pytest.mark.parametrize("write", WRITERS, ids=lambda w: str(w.__name__))
def test_formats_give_one_table(write: Callable[[Path, pd.DataFrame], str], tmp_path: Path) -> None:
    file = tmp_path / write(tmp_path, pd.DataFrame(ROWS))
    fields = {"segment_id": "SEG", "width_ft": "WID"}
    inputs, found = read_inputs(
        {
            "streets": InputParams(source=str(street_file(tmp_path))),
            "width": InputParams(source=str(file), fields=fields, units={"width_ft": "m"}),
        }
    )
    assert not found
    table = inputs.tables["width"]
    assert [None if v is None or v != v else v for v in table["segment_id"]] == ["1", "2", None]
    widths = [None if v is None or v != v else v for v in table["width_ft"]]
    assert widths == [pytest.approx(40 / 0.3048), None, pytest.approx(30 / 0.3048)]
    assert table.geometry.isna().all()
    assert inputs.rows == {"streets": 5, "width": 3}


@pytest.mark.parametrize("text", ["SEG,WID\n", "segment_id,width_ft\n"])
def test_a_table_without_rows_is_no_fault(text: str, tmp_path: Path) -> None:
    (tmp_path / "w.csv").write_text(text)
    streets = InputParams(source=str(street_file(tmp_path)))
    inputs, found = read_inputs(
        {"streets": streets, "width": InputParams(source=str(tmp_path / "w.csv"))}
    )
    assert inputs.rows["width"] == 0
    assert not found


def test_several_tables_need_a_name_and_a_missing_file_is_told(tmp_path: Path) -> None:
    pd.DataFrame(ROWS).to_csv(tmp_path / "t.csv", index=False)
    frame = gpd.GeoDataFrame(ROWS, geometry=[shapely.Point(0, 0)] * 3, crs=FEET)
    for layer in ("one", "two"):
        frame.to_file(tmp_path / "both.gpkg", layer=layer)
    spec = InputParams(source=str(tmp_path / "both.gpkg"))
    with pytest.raises(InputError, match=r"several layers fit \(it has: one, two\). Set `layer`"):
        read_source(spec, role("width"))
    with pytest.raises(InputError, match=r"inputs\.width: .*none\.csv: no such file"):
        read_source(InputParams(source=str(tmp_path / "none.csv")), role("width"))
    (tmp_path / "bad.parquet").write_bytes(b"no table")
    with pytest.raises(InputError, match=r"inputs\.width: .*cannot be read"):
        read_source(InputParams(source=str(tmp_path / "bad.parquet")), role("width"))


def test_roles_with_geometry_still_refuse_a_plain_table(tmp_path: Path) -> None:
    pd.DataFrame(ROWS).to_csv(tmp_path / "t.csv", index=False)
    pd.DataFrame(ROWS).to_parquet(tmp_path / "t.parquet")
    for file in ("t.csv", "t.parquet"):
        with pytest.raises(InputError, match=r"inputs\.schools: .*(no layer with|cannot be read)"):
            read_source(InputParams(source=str(tmp_path / file)), role("schools"))


PROJECT = """
[project]
output = "town.gpkg"
[inputs.streets]
source = "streets.gpkg"
[inputs.width]
source = "width.csv"
[inputs.lanes]
source = "lanes.parquet"
[inputs.speed]
source = "speed.csv"
units = { speed_mph = "km/h" }
[inputs.districts]
source = "districts.gpkg"
[inputs.exclusions]
source = "exclusions.gpkg"
[inputs.rail_crossings]
source = "rail.gpkg"
[inputs.speed_humps]
source = "humps.gpkg"
values.kind = { H = "hump" }
[districts]
margin = "0 ft"
[defaults.local]
center_line = "double_solid"
"""


def town(folder: Path) -> None:
    """All roles, each with one row that cannot be used."""
    street_file(folder)
    (folder / "width.csv").write_text("segment_id,width_ft\n 1 ,41\n2.0,41\n9,30\n")
    (folder / "speed.csv").write_text('segment_id,speed_mph\n1,"56.3"\n,40\n')
    lanes = pd.DataFrame({"segment_id": [3.0, 4.0, 4.0], "lanes": [2, 2, 4]})
    lanes.to_parquet(folder / "lanes.parquet")
    layers: dict[str, dict[str, list[Any]]] = {
        "districts": {
            "district_id": ["d1", "flat"],
            "name": ["North Side", None],
            "geometry": [
                shapely.box(X - 50, Y - 100, X + 900, Y + 500),
                shapely.Polygon([(X, Y), (X + 9, Y), (X + 5, Y)]),
            ],
        },
        "exclusions": {
            "exclusion_id": ["e1"],
            "reason": ["fresh seal coat"],
            "geometry": [shapely.box(X + 100, Y - 90, X + 200, Y + 90)],
        },
        "rail": {
            "crossing_id": ["r1", "r2"],
            "tracks": ["2", "1"],
            "control": ["gates", "bells"],
            "geometry": [shapely.Point(X + 600, Y + 30), shapely.Point(X + 600, Y + 300)],
        },
        "humps": {
            "hump_id": ["h1", "h2"],
            "kind": ["H", "H"],
            "geometry": [
                shapely.LineString([(X + 400, Y + 200), (X + 424, Y + 199)]),
                shapely.Point(X + 700, Y - 300),
            ],
        },
    }
    for name, columns in layers.items():
        gpd.GeoDataFrame(columns, geometry="geometry", crs=FEET).to_file(folder / f"{name}.gpkg")
    (folder / "town.toml").write_text(PROJECT)


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("town")
    town(folder)
    project = pipeline.load_project(folder / "town.toml")
    layout = pipeline.generate(project, lambda _: None)
    pipeline.route(project, layout, lambda _: None)
    return folder / "town.gpkg"


def test_rows_in_are_rows_used_and_rows_in_findings(package: Path) -> None:
    counts = json.loads(read_layer(package, "run_info")["inputs"].iloc[0])
    told = {name: (c["rows"], c["used"], c["reported"]) for name, c in counts.items()}
    assert told == {
        "streets": (5, 4, 1),  # street 5 lies outside the district
        "speed": (2, 1, 1),
        "lanes": (3, 1, 2),
        "width": (3, 2, 1),
        "districts": (2, 1, 1),
        "exclusions": (1, 1, 0),
        "rail_crossings": (2, 1, 1),
        "speed_humps": (2, 1, 1),
    }


def test_layers_carry_sources_and_districts(package: Path) -> None:
    streets = read_layer(package, "streets").set_index("segment_id")
    assert streets.loc["1", ["width_source", "lanes_source", "speed_source"]].tolist() == [
        "table",
        "class default",
        "table",
    ]
    assert streets.loc["1", "speed_mph"] == pytest.approx(35.0, abs=0.05)
    assert streets.loc["3", "lanes_source"] == "table"
    # 4 only leads to the intersection inside
    assert streets["district"].to_dict() == {
        "1": "North Side",
        "2": "North Side",
        "3": "North Side",
        "4": "",
    }
    for name in ("intersections", "markings", "jobs"):
        layer = read_layer(package, name)
        assert len(layer)
        assert set(layer["district"]) == {"North Side"}


def test_nothing_is_painted_in_the_exclusion_nor_on_the_block_outside(package: Path) -> None:
    markings = read_layer(package, "markings")
    zone = shapely.box(X + 100, Y - 90, X + 200, Y + 90)
    shared = shapely.area(shapely.intersection(markings.geometry.to_numpy(), zone))
    assert shared.max() < 0.1
    assert not len(markings[(markings["segment_id"] == "4") & (markings["intersection_id"] == "")])
    assert len(markings[(markings["segment_id"] == "3") & (markings["intersection_id"] == "")])
    found = read_layer(package, "findings")
    told = found[found["code"] == "excluded_part"]
    assert all("e1 (fresh seal coat)" in text for text in told["text"])
    assert len(told)
