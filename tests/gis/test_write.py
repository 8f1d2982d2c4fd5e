"""The output file: same values back, valid, repeatable, and never half written."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely
from export.sample_package import PLANE, ROWS, STATE_FEET, shapes, table, tables, town

from layoutgen.errors import InputError, OutputError
from layoutgen.gis import write
from layoutgen.gis.schema import LAYERS, layer
from layoutgen.gis.write import has_layer, layer_names, read_layer, staged, write_package

OWN_CRS = pyproj.CRS.from_proj4(
    "+proj=tmerc +lat_0=42 +lon_0=-71 +k=0.9999 +x_0=100000 +datum=NAD83 +units=us-ft +no_defs"
)
GENERATED = tuple(lay.name for lay in LAYERS if lay.stage == "generate")
ROUTED = tuple(lay.name for lay in LAYERS if lay.stage == "route")


@pytest.fixture(scope="module")
def routed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A package with all layers; tests do not change it."""
    return town(tmp_path_factory.mktemp("town"))


def _sql(path: Path, text: str) -> list[tuple[Any, ...]]:
    with contextlib.closing(sqlite3.connect(path)) as base:
        return base.execute(text).fetchall()


def _hidden(folder: Path) -> list[str]:
    return [file.name for file in folder.iterdir() if file.name.startswith(".")]


# --- what goes in comes out


@pytest.mark.parametrize("crs", [STATE_FEET, pyproj.CRS.from_epsg(4326), OWN_CRS])
def test_geometry_and_values_come_back(tmp_path: Path, crs: pyproj.CRS) -> None:
    path = tmp_path / "a.gpkg"
    given = tables("generate") | tables("route") | tables("record")
    write_package(path, given, crs=crs)
    for lay in LAYERS:
        back, there = read_layer(path, lay.name), given[lay.name]
        for column in lay.columns:
            assert back[column.name].tolist() == there[column.name].tolist(), column
        if lay.geometry is not None:
            assert back.crs.equals(crs, ignore_axis_order=True)
            _assert_same_place(back.to_crs(PLANE), there)


def _assert_same_place(back: Any, there: Any) -> None:
    """Rings start where they started and parts keep their order: coordinates compare one to one."""
    ours, theirs = back.geometry.to_numpy(), there.geometry.to_numpy()
    assert (shapely.is_missing(ours) == shapely.is_missing(theirs)).all()
    gap = shapely.get_coordinates(ours) - shapely.get_coordinates(theirs)
    assert np.abs(gap).max() < 1e-6  # ft


def test_own_crs_is_written_once(tmp_path: Path) -> None:
    write_package(tmp_path / "a.gpkg", tables("generate"), crs=OWN_CRS)
    rows = _sql(tmp_path / "a.gpkg", "SELECT DISTINCT srs_id FROM gpkg_geometry_columns")
    assert len(rows) == 1


def test_missing_values_stay_missing(tmp_path: Path) -> None:
    marks = table("markings", 2)
    marks["coat"], marks["style"], marks["width_ft"] = [1.0, np.nan], ["a", None], [np.nan, 2.0]
    write_package(tmp_path / "a.gpkg", {"markings": marks}, crs=STATE_FEET)
    back = read_layer(tmp_path / "a.gpkg", "markings")
    assert str(back["coat"].dtype) == "Int64"
    assert back[["coat", "style", "width_ft"]].isna().to_numpy().tolist() == [
        [False, False, True],
        [True, True, False],
    ]


def test_columns_and_types_are_the_schema_s_for_both_readers(routed: Path) -> None:
    dtypes = {"text": "object", "real": "float64", "integer": "int64"}
    for lay in LAYERS:
        names = [column.name for column in lay.columns]
        seen = pyogrio.read_info(routed, layer=lay.name)
        assert list(seen["fields"]) == names
        assert list(seen["dtypes"]) == [dtypes[column.type] for column in lay.columns]
        with fiona.open(routed, layer=lay.name) as source:
            assert list(source.schema["properties"]) == names
            assert len(list(source)) == seen["features"] > 0


def test_columns_have_the_plain_types_of_the_standard(routed: Path) -> None:
    """OGC 12-128r14, table 1: TEXT, REAL = DOUBLE, INTEGER = INT of 64 bits."""
    sql = {"text": "TEXT", "real": "REAL", "integer": "INTEGER"}
    for lay in LAYERS:
        declared = {row[1]: row[2] for row in _sql(routed, f'PRAGMA table_info("{lay.name}")')}
        assert declared["fid"] == "INTEGER"
        assert {c.name: sql[c.type] for c in lay.columns}.items() <= declared.items()


def test_empty_layers_have_their_type_and_columns(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    write_package(path, {"markings": table("markings", 0), "jobs": table("jobs", 0)}, crs=OWN_CRS)
    assert set(layer_names(path)) == {"markings", *ROUTED}
    write_package(path, {"markings": table("markings", 0)}, crs=STATE_FEET)
    assert set(layer_names(path)) == set(GENERATED)
    kinds = dict(_sql(path, "SELECT table_name, geometry_type_name FROM gpkg_geometry_columns"))
    for name in GENERATED:
        shape = layer(name).geometry
        assert kinds.get(name) == (shape.upper() if shape else None)
        assert len(read_layer(path, name)) == 0


def test_extra_columns_are_left_out_and_polygons_become_multi(tmp_path: Path) -> None:
    marks = table("markings", 5).assign(segment_index=3, is_line=True)
    write_package(tmp_path / "a.gpkg", {"markings": marks}, crs=STATE_FEET)
    back = read_layer(tmp_path / "a.gpkg", "markings")
    assert list(back.columns) == [*(c.name for c in layer("markings").columns), "geometry"]
    assert set(back.geom_type) == {"MultiPolygon"}


def test_heights_are_left_out(tmp_path: Path) -> None:
    jobs = table("jobs", 3)
    jobs["geometry"] = shapely.points([[1.0, 2.0, 3.0]] * 3)
    write_package(tmp_path / "a.gpkg", {"jobs": jobs}, crs=STATE_FEET)
    assert not read_layer(tmp_path / "a.gpkg", "jobs").has_z.any()


def test_a_finding_with_an_empty_place_has_none(tmp_path: Path) -> None:
    found = table("findings", 3).assign(geometry=[None, shapely.Point(), shapely.Point(1, 1)])
    write_package(tmp_path / "a.gpkg", {"findings": found.set_crs(PLANE)}, crs=STATE_FEET)
    back = read_layer(tmp_path / "a.gpkg", "findings")
    assert back.geometry.isna().tolist() == [True, True, False]


# --- faults of the program, not of the user


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda t: t.drop(columns=["reason", "coat"]), "no column reason, coat"),
        (lambda t: t.assign(coat=1.5), r"markings\.coat is not integer"),
        (lambda t: t.assign(kind=3), r"markings\.kind is not text"),
        (lambda t: t.set_crs(None, allow_override=True), "no CRS"),
        (lambda t: pd.DataFrame(t.drop(columns="geometry")), "no geometry"),
        (lambda t: t.set_geometry(shapes("Point", ROWS), crs=PLANE), "Point in a layer of Multi"),
    ],
)
def test_wrong_tables_are_refused(tmp_path: Path, spoil: Callable[[Any], Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        write_package(tmp_path / "a.gpkg", {"markings": spoil(table("markings"))}, crs=STATE_FEET)
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_table_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match=r"no layers of the schema.*markigns"):
        write_package(tmp_path / "a.gpkg", {"markigns": table("markings")}, crs=STATE_FEET)


def test_a_crs_that_cannot_hold_the_place_is_refused(tmp_path: Path) -> None:
    far = table("jobs", 1).set_geometry(gpd.points_from_xy([179.0], [0.0]), crs=4326)
    north = pyproj.CRS.from_proj4("+proj=gnom +lat_0=90 +lon_0=0 +datum=WGS84")
    far["geometry"] = shapely.points([[0.0, -45.0]])
    with pytest.raises(OutputError, match="jobs: lies outside"):
        write_package(tmp_path / "a.gpkg", {"jobs": far}, crs=north)


# --- a sound and repeatable file


def test_the_file_keeps_the_rules_of_geopackage(routed: Path) -> None:
    """OGC 12-128r14: requirements 2, 6, 7, 13, 25 and the rtree and schema extensions."""
    assert _sql(routed, "PRAGMA application_id") == [(0x47504B47,)]  # "GPKG"
    assert _sql(routed, "PRAGMA user_version") == [(10200,)]
    assert _sql(routed, "PRAGMA integrity_check") == [("ok",)]
    assert _sql(routed, "PRAGMA foreign_key_check") == []
    features = _sql(routed, "SELECT table_name FROM gpkg_contents WHERE data_type='features'")
    assert set(features) == set(_sql(routed, "SELECT table_name FROM gpkg_geometry_columns"))
    used = "SELECT srs_id FROM gpkg_contents WHERE srs_id NOT IN (SELECT srs_id FROM {})"
    assert _sql(routed, used.format("gpkg_spatial_ref_sys")) == []
    named = _sql(routed, "SELECT table_name, extension_name FROM gpkg_extensions")
    assert len(named) == len(set(named))
    assert {t for t, name in named if name == "gpkg_schema"} >= {"gpkg_data_columns"}
    assert {(t,) for t, name in named if name == "gpkg_rtree_index"} == set(features)


def test_every_spatial_index_is_whole(routed: Path) -> None:
    for (name,) in _sql(routed, "SELECT table_name FROM gpkg_geometry_columns"):
        assert _sql(routed, f"SELECT rtreecheck('rtree_{name}_geom')") == [("ok",)]
        indexed = _sql(routed, f"SELECT count(*) FROM rtree_{name}_geom")
        assert indexed == _sql(routed, f"SELECT count(*) FROM {name} WHERE geom IS NOT NULL")


def test_descriptions_stand_in_the_file(routed: Path) -> None:
    told = dict(_sql(routed, "SELECT table_name, description FROM gpkg_contents"))
    assert told == {lay.name: lay.text for lay in LAYERS}
    rows = _sql(routed, "SELECT table_name, column_name, description FROM gpkg_data_columns")
    assert set(rows) == {(lay.name, c.name, c.text) for lay in LAYERS for c in lay.columns}


def test_layers_lie_in_drawing_order(routed: Path) -> None:
    """Also what `route` added later, and for both readers."""
    assert layer_names(routed) == list(write.TOP_DOWN)
    assert fiona.listlayers(routed) == list(write.TOP_DOWN)
    assert set(write.TOP_DOWN) == {lay.name for lay in LAYERS}


def test_equal_tables_give_equal_bytes(tmp_path: Path) -> None:
    for name in ("a.gpkg", "b.gpkg"):
        write_package(tmp_path / name, tables("generate"), crs=STATE_FEET)
    assert (tmp_path / "a.gpkg").read_bytes() == (tmp_path / "b.gpkg").read_bytes()
    kept = tmp_path / "a.gpkg"
    for name in ("c.gpkg", "d.gpkg"):
        write_package(tmp_path / name, tables("route"), crs=STATE_FEET, keep=kept)
    assert (tmp_path / "c.gpkg").read_bytes() == (tmp_path / "d.gpkg").read_bytes()


# --- whole or not at all


@pytest.mark.parametrize("fault", [KeyboardInterrupt(), sqlite3.OperationalError("disk full")])
@pytest.mark.parametrize("step", ["_write_small", "_finish", "_put_in_place"])
def test_a_failure_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: BaseException, step: str
) -> None:
    path = tmp_path / "a.gpkg"
    write_package(path, tables("generate"), crs=STATE_FEET)
    before = path.read_bytes()

    def fail(*_: Any) -> None:
        raise fault

    monkeypatch.setattr(write, step, fail)
    with pytest.raises((KeyboardInterrupt, OutputError, sqlite3.Error)):
        write_package(path, tables("generate", 2), crs=STATE_FEET)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["a.gpkg"]


def test_library_faults_come_as_output_errors(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise pyogrio.errors.DataSourceError("sqlite3_step() failed")

    monkeypatch.setattr(write.pyogrio.raw, "write_arrow", fail)
    with pytest.raises(
        OutputError, match=r"a\.gpkg: cannot be written; .* unchanged.*sqlite3_step"
    ):
        write_package(tmp_path / "a.gpkg", tables("generate"), crs=STATE_FEET)


def test_lost_rows_are_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = write._write_bulk
    monkeypatch.setattr(write, "_write_bulk", lambda f, lay, rows, c: whole(f, lay, rows[1:], c))
    with pytest.raises(OutputError, match="holds 14 of 15 rows"):
        write_package(tmp_path / "a.gpkg", tables("route"), crs=STATE_FEET)


_FULL_DISK = """
import resource, signal, sys
from pathlib import Path
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
from export.sample_package import STATE_FEET, tables
from layoutgen.errors import OutputError
from layoutgen.gis.write import write_package
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]),) * 2)
try:
    write_package(Path(sys.argv[1]), tables("generate", 3000), crs=STATE_FEET)
except OutputError as fault:
    print("refused:", fault)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no file size limits there")
@pytest.mark.parametrize("limit", [60_000, 1_000_000, 7_000_000])
def test_a_full_disk_leaves_the_old_file(tmp_path: Path, limit: int) -> None:
    """A real one as far as the libraries see: the system refuses to let a file grow further."""
    path = tmp_path / "a.gpkg"
    write_package(path, {"jobs": table("jobs", 1)}, crs=STATE_FEET)
    before = path.read_bytes()
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    command = [sys.executable, "-c", _FULL_DISK, str(path), str(limit)]
    run = subprocess.run(command, capture_output=True, text=True, env=environment, check=False)
    assert run.stdout.startswith("refused:"), run.stderr
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["a.gpkg"]


def test_staged_puts_files_in_place_together(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(OutputError, match="is a folder"), staged(tmp_path) as hidden:  # noqa: PT012
        (hidden / "a").write_text("new")
        (hidden / "b").write_text("new")
    assert [file.name for file in tmp_path.iterdir()] == ["b"]


# --- places that cannot be written


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="nowhere: no such folder"):
        write_package(tmp_path / "nowhere" / "a.gpkg", tables("route"), crs=STATE_FEET)
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="file: no such folder"):
        write_package(tmp_path / "file" / "a.gpkg", tables("route"), crs=STATE_FEET)


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a folder nobody can write")
def test_an_unwritable_folder_is_named() -> None:
    with pytest.raises(OutputError, match=r"proc.*cannot be written"):
        write_package(Path("/proc/a.gpkg"), tables("route"), crs=STATE_FEET)


@pytest.mark.skipif(sys.platform == "win32" or os.getuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_named(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        write_package(tmp_path / "a.gpkg", tables("route"), crs=STATE_FEET)


def test_a_folder_or_another_ending_is_no_target(tmp_path: Path) -> None:
    (tmp_path / "a.gpkg").mkdir()
    with pytest.raises(OutputError, match="is a folder"):
        write_package(tmp_path / "a.gpkg", tables("route"), crs=STATE_FEET)
    with pytest.raises(OutputError, match=r"ending in \.gpkg"):
        write_package(tmp_path / "a.shp", tables("route"), crs=STATE_FEET)


def test_a_file_being_edited_is_refused(tmp_path: Path) -> None:
    path = town(tmp_path, routed=False)
    with contextlib.closing(sqlite3.connect(path)) as editor:
        editor.execute("PRAGMA journal_mode=WAL")
        editor.execute("UPDATE run_info SET version = 'edited'")
        before = path.read_bytes()
        with pytest.raises(OutputError, match=r"open in another program \(town\.gpkg-wal"):
            write_package(path, tables("generate"), crs=STATE_FEET)
        with pytest.raises(OutputError, match="open in another program"):
            write_package(tmp_path / "b.gpkg", tables("route"), crs=STATE_FEET, keep=path)
        assert path.read_bytes() == before
    (tmp_path / "town.gpkg-wal").unlink(missing_ok=True)
    (tmp_path / "town.gpkg-journal").touch()
    with pytest.raises(OutputError, match=r"town\.gpkg-journal"):
        write_package(path, tables("generate"), crs=STATE_FEET)


# --- keep


def test_keep_carries_other_layers_and_replaces_its_own(tmp_path: Path) -> None:
    path = town(tmp_path)
    notes = gpd.GeoDataFrame({"note": ["look here"]}, geometry=[shapely.Point(1, 2)], crs=2249)
    notes.to_file(path, layer="my notes")
    before = {name: read_layer(path, name) for name in layer_names(path)}
    fresh = tables("route", 4) | {"sections": table("sections", 6)}
    write_package(path, fresh, crs=STATE_FEET, keep=path)
    for name, old in before.items():
        rows = len(fresh[name]) if name in fresh else len(old)
        assert len(read_layer(path, name)) == rows, name
    pd.testing.assert_frame_equal(read_layer(path, "markings"), before["markings"])
    assert read_layer(path, "my notes")["note"].tolist() == ["look here"]
    assert layer_names(path)[-7:-3] == ["intersections", "my notes", "quantities", "materials"]
    assert _hidden(tmp_path) == []


def test_keep_empties_stale_layers_of_the_stage(tmp_path: Path) -> None:
    """Old tours beside new jobs would send trucks out for nothing."""
    path = town(tmp_path)
    write_package(path, {"jobs": table("jobs", 2)}, crs=STATE_FEET, keep=path)
    counts = {name: len(read_layer(path, name)) for name in ROUTED}
    assert counts == dict.fromkeys(ROUTED, 0) | {"jobs": 2}


def test_keep_carries_styles(tmp_path: Path) -> None:
    path = town(tmp_path, routed=False)
    with contextlib.closing(sqlite3.connect(path)) as base:
        base.execute("CREATE TABLE layer_styles (id INTEGER PRIMARY KEY, styleName TEXT)")
        base.execute("INSERT INTO layer_styles (styleName) VALUES ('paint')")
        base.commit()
    write_package(path, tables("route"), crs=STATE_FEET, keep=path)
    assert _sql(path, "SELECT styleName FROM layer_styles") == [("paint",)]


def test_keep_has_to_be_a_package(tmp_path: Path) -> None:
    path, text = tmp_path / "a.gpkg", tmp_path / "b.gpkg"
    text.write_text("no database")
    with pytest.raises(InputError, match=r"no such file\. `layoutgen generate`"):
        write_package(path, tables("route"), crs=STATE_FEET, keep=tmp_path / "c.gpkg")
    with pytest.raises(InputError, match="cannot be read as a GeoPackage"):
        write_package(path, tables("route"), crs=STATE_FEET, keep=text)
    assert not path.exists()


# --- reading


def test_a_missing_layer_names_the_command_that_writes_it(tmp_path: Path) -> None:
    path = town(tmp_path, routed=False)
    assert has_layer(path, "markings")
    assert not has_layer(path, "tours")
    with pytest.raises(InputError, match=r"town\.gpkg: has no layer 'tours'\. `layoutgen route`"):
        read_layer(path, "tours")
    with pytest.raises(InputError, match=r"has no layer 'nonsense'\.$"):
        read_layer(path, "nonsense")


def test_a_missing_or_foreign_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    assert not has_layer(path, "markings")
    with pytest.raises(InputError, match="no such file"):
        read_layer(path, "markings")
    path.write_text("no database")
    with pytest.raises(InputError, match=r"a\.gpkg: cannot be read"):
        has_layer(path, "markings")


def test_a_layer_without_our_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.gpkg"
    pyogrio.write_dataframe(table("markings", 2).drop(columns="coat"), path, layer="markings")
    with pytest.raises(InputError, match=r"'markings' lacks coat\. `layoutgen generate`"):
        read_layer(path, "markings")
