"""What all formats share: names, caution, whole files, texts of every kind."""

from __future__ import annotations

import html
import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pytest
from export.sample_package import NASTY, town

from layoutgen.errors import ConfigError, InputError, OutputError
from layoutgen.export import formats
from layoutgen.export.formats import CAUTION, FORMATS, export, plain, rows_of, write_texts
from layoutgen.gis.schema import LAYERS
from layoutgen.gis.write import read_layer


def _every_text(path: Path) -> str:
    """All text of a document as a reader of its format sees it."""
    text = path.read_text(encoding="utf-8-sig")
    if path.suffix in (".gpx", ".kml"):
        text = "\n".join(ET.fromstring(text).itertext())
    if path.suffix == ".kml":
        text = html.unescape(text)
    return json.dumps(json.loads(text), ensure_ascii=False) if path.suffix == ".geojson" else text


@pytest.mark.parametrize("name", FORMATS)
def test_every_document_carries_the_caution(package: Path, tmp_path: Path, name: str) -> None:
    """A table cannot hold it without breaking programs that read it: it has a file beside it."""
    paths = export(package, [name], tmp_path)
    assert paths
    assert sorted(paths) == sorted(tmp_path.iterdir())
    caution = [path for path in paths if CAUTION in _every_text(path)]
    assert caution == ([tmp_path / "CAUTION.txt"] if name == "csv" else paths)


@pytest.mark.parametrize("name", FORMATS)
def test_equal_packages_give_equal_bytes(package: Path, tmp_path: Path, name: str) -> None:
    first = export(package, [name], tmp_path / "a")
    second = export(package, [name], tmp_path / "b")
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]


def test_all_formats_at_once_have_their_own_files(package: Path, tmp_path: Path) -> None:
    paths = export(package, [*FORMATS, "gpx"], tmp_path / "new" / "folder")
    assert len(paths) == len(set(paths)) == 2 + 11 + 16 + 1
    assert all(path.stat().st_size for path in paths)


def test_an_unknown_format_names_the_nearest(package: Path, tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"'geojsn': no such export.* Did you mean 'geojson'"):
        export(package, ["csv", "geojsn"], tmp_path)
    with pytest.raises(ConfigError, match="Valid: bid, crew, csv, geojson, gpx, kml, wzdx"):
        export(package, ["papyrus"], tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_package_is_named(tmp_path: Path) -> None:
    for name in FORMATS:
        with pytest.raises(InputError, match="`layoutgen generate` writes it"):
            export(tmp_path / "none.gpkg", [name], tmp_path / "out")


def test_before_routing_only_gpx_is_refused(tmp_path: Path) -> None:
    unrouted = town(tmp_path, routed=False)
    tables = sum(lay.stage == "generate" for lay in LAYERS)
    assert len(export(unrouted, ["csv"], tmp_path / "csv")) == tables + 1
    assert len(export(unrouted, ["kml", "geojson"], tmp_path / "maps")) == 1 + 5
    with pytest.raises(InputError, match="`layoutgen route` writes it"):
        export(unrouted, ["gpx"], tmp_path / "gpx")


def test_a_failure_leaves_earlier_files(tmp_path: Path) -> None:
    def broken() -> Iterator[str]:
        yield "half"
        raise KeyboardInterrupt

    write_texts(tmp_path, {"a.txt": ["old a"], "b.txt": ["old b"]})
    with pytest.raises(KeyboardInterrupt):
        write_texts(tmp_path, {"a.txt": ["new a"], "b.txt": broken()})
    assert {p.name: p.read_text() for p in tmp_path.iterdir()} == {
        "a.txt": "old a",
        "b.txt": "old b",
    }


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot be made"):
        write_texts(tmp_path / "file" / "sub", {"a.txt": ["x"]})


def test_plain_removes_what_xml_cannot_hold() -> None:
    """XML 1.0, section 2.2, production 2: Char."""
    kept = "\t\n\r ~\x85\ud7ff\ue000\ufffd\U00010000\U0010ffff"
    assert plain(kept) == kept
    assert plain("a\x00\x08\x0b\x0c\x0e\x1f\ud800\udfff\ufffe\uffffz") == "az"
    assert plain(None) == ""
    for text in NASTY:
        assert ET.fromstring(f"<a>{html.escape(plain(text))}</a>").text is not None


def test_rows_hold_plain_values() -> None:
    table = pd.DataFrame(
        {
            "real": [1.5, np.nan, np.inf],
            "integer": pd.array([1, None, 3], dtype="Int64"),
            "text": ["a", None, ""],
        }
    )
    rows = list(rows_of(table, ["real", "integer", "text"]))
    assert rows == [(1.5, 1, "a"), (None, None, None), (None, 3, "")]
    assert [type(value) for value in rows[0]] == [float, int, str]


def test_gdal_reads_every_format(package: Path, tmp_path: Path) -> None:
    """The same answer by another road: GDAL's own drivers count the rows and find the places."""
    export(package, list(FORMATS), tmp_path)
    read = pyogrio.read_dataframe
    marks = read_layer(package, "markings").to_crs(4326)
    for there in (
        read(tmp_path / "markings.geojson"),
        read(tmp_path / "layout.kml", layer="markings"),
    ):
        assert len(there) == len(marks)
        assert np.abs(there.total_bounds - marks.total_bounds).max() < 1e-7
        assert there.is_valid.all()
    visits = read(tmp_path / "tour_T_1.gpx", layer="route_points")
    assert (
        np.abs(visits.total_bounds - read_layer(package, "visits").to_crs(4326).total_bounds).max()
        < 1e-7
    )
    assert len(read(tmp_path / "tour_T_1.gpx", layer="tracks")) == 1
    assert len(read(tmp_path / "markings.csv")) == len(marks)


def test_every_format_has_its_module() -> None:
    assert set(FORMATS) == {"gpx", "geojson", "csv", "kml"}
    assert formats.DECIMALS == 7
