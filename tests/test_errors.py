"""Bad settings and bad files, through the real command: one clear message, exit 1, no harm done."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest import mock

import geopandas as gpd
import pytest
import shapely

from layoutgen import cli

ROOT = Path(__file__).parents[1]
GOOD = """
[project]
output = "out.gpkg"
[inputs.streets]
source = "streets.gpkg"
"""
OLD_OUTPUT = b"an earlier result"


@dataclass(frozen=True)
class Done:
    """What one call of the command left behind."""

    returncode: int
    stdout: str
    stderr: str


def call(folder: Path, *args: str) -> Done:
    """The command, run in a folder, in this process: a start of Python takes longer than a run."""
    said, told = io.StringIO(), io.StringIO()
    cli.out.width = 400  # tables must not fold the words that tests look for
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(said),
        contextlib.redirect_stderr(told),
        mock.patch.object(sys, "argv", ["layoutgen", *args]),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore")
        try:
            cli.main()
            code: object = 0
        except SystemExit as stop:
            code = stop.code
    return Done(int(str(code or 0)), said.getvalue(), told.getvalue())


def started(folder: Path, *args: str) -> Done:
    """The command as a program of its own."""
    code = "from layoutgen.cli import main; main()"
    env = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "400"}
    done = subprocess.run(
        [sys.executable, "-c", code, *args],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
    )
    return Done(done.returncode, done.stdout, done.stderr)


def streets(folder: Path, name: str = "streets.gpkg", *, crs: str | None = "EPSG:2264") -> Path:
    """Two crossing streets in North Carolina state plane feet."""
    lines = [
        shapely.LineString([(2000000, 700000), (2000400, 700000)]),
        shapely.LineString([(2000400, 700000), (2000400, 700400)]),
        shapely.LineString([(2000400, 700000), (2000900, 699900)]),
    ]
    table = gpd.GeoDataFrame(
        {"segment_id": ["1", "2", "3"], "NAME": ["Elm Way", "Elm Way", "Oak Way"]},
        geometry=lines,
        crs=crs,
    )
    with warnings.catch_warnings():
        # a file without CRS is what this test is about
        warnings.filterwarnings("ignore", message="'crs' was not provided")
        table.to_file(folder / name)
    return folder / name


def project(folder: Path, text: str) -> str:
    (folder / "p.toml").write_text(text, encoding="utf-8")
    (folder / "out.gpkg").write_bytes(OLD_OUTPUT)
    return "p.toml"


def refused(folder: Path, text: str, *needles: str) -> None:
    """The project is refused with a message that holds every needle; the old output stays."""
    done = call(folder, "generate", project(folder, text))
    said = done.stderr
    assert done.returncode == 1, said
    assert "Traceback" not in said
    for needle in needles:
        assert needle in said, f"{needle!r} not in {said!r}"
    assert (folder / "out.gpkg").read_bytes() == OLD_OUTPUT
    assert sorted(p.name for p in folder.iterdir() if p.name.startswith(".")) == []


#: faults of the program that these tests show and that are not mended yet
OPEN: set[str] = set()


def cases(names: Iterable[str]) -> list[Any]:
    """Names as test parameters; an open fault is expected to fail until it is mended."""
    mended = pytest.mark.xfail(strict=True, reason="open fault; take it out of OPEN when mended")
    return [pytest.param(name, marks=[mended] if name in OPEN else []) for name in names]


SETTINGS = {
    "word no street has": (
        GOOD + '[[rules.stop_line.cases]]\nwhere = { control = "sginal" }\n',
        ["where.control", "'sginal'", "Did you mean 'signal'?"],
    ),
    "class no street has": (
        GOOD + '[[rules.lane_line.cases]]\nwhere = { street_class = ["local", "arteriel"] }\n',
        ["where.street_class", "'arteriel'", "Did you mean 'arterial'?"],
    ),
    "not TOML": ("[project\n", ["p.toml", "not valid TOML", "line 1"]),
    "wrong type": (GOOD + "[trucks]\ncount = 'two'\n", ["p.toml:7: trucks.count", "number"]),
    "unknown key": (
        GOOD + '[rules.stop_line]\nwidht = "2 ft"\n',
        ["p.toml:7: rules.stop_line.widht", "no such setting", "Did you mean 'width'?"],
    ),
    "unknown table": (GOOD + "[ruels]\na = 1\n", ["ruels", "Did you mean 'rules'?"]),
    "out of range": (
        GOOD + '[rules.stop_line]\nwidth = "30 in"\n',
        ["p.toml:7: rules.stop_line.width", "outside 12 in to 24 in", "STOP-01"],
    ),
    "out of range in a case": (
        GOOD
        + '[[rules.stop_line.cases]]\nwhere = {control = "signal"}\n'
        + '[[rules.stop_line.cases]]\nwhere = {control = "stop"}\nwidth = "1 in"\n',
        ["p.toml:10: rules.stop_line.cases[1].width", "STOP-01"],
    ),
    "no unit": (GOOD + "[rules.stop_line]\nwidth = 2\n", ["stop_line.width", "needs a unit"]),
    "wrong unit": (
        GOOD + '[rules.stop_line]\nwidth = "2 mph"\n',
        ["stop_line.width", "expected a length", "ft, in"],
    ),
    "bad choice": (
        GOOD + '[rules.crosswalk]\nstyle = "plaid"\n',
        ["rules.crosswalk.style", "longitudinal_bars", "plaid"],
    ),
    "unknown rule": (GOOD + "[rules.stop_lines]\n", ["stop_lines", "Did you mean 'stop_line'?"]),
    "unknown role": (
        GOOD + '[inputs.street]\nsource = "x"\n',
        ["inputs.street", "Did you mean 'streets'?"],
    ),
    "unknown class": (
        GOOD + "[defaults.arterail]\nlanes = 4\n",
        ["defaults.arterail", "Did you mean 'arterial'?"],
    ),
    "unknown attribute": (
        GOOD + "[[rules.stop_line.cases]]\nwhere = {speed = 3}\n",
        ["where.speed", "no such attribute", "speed_mph"],
    ),
    "case without where": (GOOD + "[[rules.stop_line.cases]]\nenabled = false\n", ["where"]),
    "unknown CRS": (GOOD.replace("[inputs", 'crs = "EPSG:1"\n[inputs'), ["EPSG:1", "EPSG:2264"]),
    "no streets": ("[project]\nname = 'x'\n", ["inputs.streets", "required"]),
    "base missing": ('extends = "nowhere.toml"\n' + GOOD, ["p.toml:1: extends", "nowhere.toml"]),
    "ring": ('extends = "p.toml"\n' + GOOD, ["ring", "p.toml"]),
    "extends is a number": ("extends = 5\n" + GOOD, ["p.toml:1: extends", "5"]),
    "output is an input": (
        GOOD.replace('"out.gpkg"', '"streets.gpkg"'),
        ["p.toml:3: project.output", "overwritten"],
    ),
    "output has another ending": (
        GOOD.replace("out.gpkg", "out.txt"),
        ["p.toml:3: project.output", "out.txt", ".gpkg"],
    ),
    "unit that is none": (
        GOOD + '[inputs.streets.units]\nwidth_ft = "meters"\n',
        ["inputs.streets.units.width_ft", "meters", "m, mi"],
    ),
    "unit of speed for a width": (
        GOOD + '[inputs.streets.units]\nwidth_ft = "mph"\n',
        ["inputs.streets.units.width_ft", "mph"],
    ),
    "nothing left by where": (GOOD + "where = { NAME = 'x' }\n", ["no row is left by `where`"]),
    "same key twice": (GOOD + "[project]\n", ["p.toml", "not valid TOML", "line 6"]),
    "table is a number": (GOOD + "[rules]\nstop_line = 5\n", ["p.toml:7: rules.stop_line", "5"]),
    "case is a number": (
        GOOD + "[rules.stop_line]\ncases = [5]\n",
        ["p.toml:7: rules.stop_line.cases[0]", "5"],
    ),
    "unknown key in a case": (
        GOOD + '[[rules.stop_line.cases]]\nwhere = {control = "stop"}\nsetbak = "5 ft"\n',
        ["p.toml:8: rules.stop_line.cases[0].setbak", "Did you mean 'setback'?"],
    ),
    "control that never stops": (
        GOOD + '[rules.stop_line]\nat = ["yield"]\n',
        ["p.toml:7: rules.stop_line.at[0]", "signal", "yield"],
    ),
    "no number": (GOOD + "[trucks]\ncount = nan\n", ["p.toml:7: trucks.count", "outside"]),
    "flag for a number": (GOOD + "[trucks]\ncount = true\n", ["trucks.count", "True"]),
    "half a truck": (GOOD + "[trucks]\ncount = 1.5\n", ["p.toml:7: trucks.count", "1.5"]),
    "leg attribute for a rule on blocks": (
        GOOD + '[[rules.lane_line.cases]]\nwhere = {control = "signal"}\n',
        ["p.toml:6", "where.control", "looks at blocks, which have no control"],
    ),
    "our side of a code is no word of ours": (
        GOOD + '[inputs.streets.values.oneway]\nF = "forwards"\n',
        ["inputs.streets.values.oneway", "forwards", "Did you mean 'forward'?"],
    ),
    "bad clock": (GOOD + '[crew]\nshift_start = "7 am"\n', ["crew.shift_start", "07:00"]),
}


@pytest.mark.parametrize("name", cases(SETTINGS))
def test_bad_settings_stop_the_run_before_it_starts(name: str, tmp_path: Path) -> None:
    streets(tmp_path)
    text, needles = SETTINGS[name]
    refused(tmp_path, text, *needles)


def no_crs(folder: Path) -> str:
    streets(folder, "streets.shp", crs=None)
    return GOOD.replace("streets.gpkg", "streets.shp")


def wrong_crs(folder: Path) -> str:
    streets(folder)
    return GOOD + 'crs = "EPSG:4326"\n'


def missing_column(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.streets.fields]\nname = "NAMES"\n'


def unknown_field(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.streets.fields]\nnames = "NAME"\n'


def missing_where_column(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.streets.where]\nSTATE = "x"\n'


def unknown_layer(folder: Path) -> str:
    streets(folder)
    return GOOD + 'layer = "streetz"\n'


def two_layers(folder: Path) -> str:
    path = streets(folder)
    gpd.read_file(path).to_file(path, layer="again")
    return GOOD


def not_a_map(folder: Path) -> str:
    (folder / "streets.gpkg").write_bytes(b"this is no GeoPackage at all, only text")
    return GOOD


def points_only(folder: Path) -> str:
    table = gpd.GeoDataFrame({"a": [1]}, geometry=[shapely.Point(0, 0)], crs=2264)
    table.to_file(folder / "streets.gpkg")
    return GOOD


def one_column_of_two(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.streets.fields]\nname = ["NAME", "NAM2"]\n'


def folder_for_a_file(_: Path) -> str:
    return GOOD.replace("streets.gpkg", ".")


def no_controls_file(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.controls]\nsource = "signs.gpkg"\n'


def lines_for_points(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.controls]\nsource = "streets.gpkg"\n'


def degrees_called_feet(folder: Path) -> str:
    path = streets(folder)
    table = gpd.read_file(path).to_crs(4326).set_crs(2264, allow_override=True)
    path.unlink()
    table.to_file(path)
    return GOOD


def only_points_of_lines(folder: Path) -> str:
    lines = [
        shapely.LineString([(2000000 + 90 * i, 7e5), (2000000.1 + 90 * i, 7e5)]) for i in range(3)
    ]
    gpd.GeoDataFrame({"a": ["1", "2", "3"]}, geometry=lines, crs=2264).to_file(
        folder / "streets.gpkg"
    )
    return GOOD


def nothing_left(folder: Path) -> str:
    streets(folder)
    return GOOD + '[inputs.streets.where]\nNAME = "Ash Way"\n'


FILES: dict[str, tuple[Callable[[Path], str], list[str]]] = {
    "missing file": (lambda _: GOOD, ["streets.gpkg", "no such file", "source"]),
    "no CRS": (no_crs, ["streets.shp", "names no CRS", "crs ="]),
    "coordinates do not fit the CRS": (wrong_crs, ["streets.gpkg", "do not fit EPSG:4326", "crs"]),
    "missing column": (missing_column, ["inputs.streets.fields.name", "NAMES", "'NAME'"]),
    "unknown field": (unknown_field, ["inputs.streets.fields.names", "Did you mean 'name'?"]),
    "missing where column": (missing_where_column, ["inputs.streets.where", "STATE"]),
    "unknown layer": (unknown_layer, ["no layer 'streetz'", "Did you mean 'streets'?"]),
    "two layers": (two_layers, ["several layers fit", "streets, again", "layer"]),
    "not a map file": (not_a_map, ["streets.gpkg", "cannot"]),
    "one column of two": (one_column_of_two, ["inputs.streets.fields.name", "'NAM2'", "'NAME'"]),
    "folder for a file": (folder_for_a_file, ["cannot open"]),
    "no controls file": (no_controls_file, ["inputs.controls", "signs.gpkg", "no such file"]),
    "lines for points": (lines_for_points, ["inputs.controls", "Point", "layer"]),
    "degrees under a projected CRS": (degrees_called_feet, ["streets.gpkg", "EPSG:2264", "crs"]),
    "every line is a point": (only_points_of_lines, ["inputs.streets", "no usable"]),
    "nothing left by where": (nothing_left, ["inputs.streets", "where"]),
    "points for lines": (points_only, ["no layer with LineString", "streets"]),
}


@pytest.mark.parametrize("name", cases(FILES))
def test_unusable_files_are_refused(name: str, tmp_path: Path) -> None:
    make, needles = FILES[name]
    refused(tmp_path, make(tmp_path), *needles)


@pytest.mark.parametrize(
    ("output", "needle"),
    [
        ("gone/deep/out.gpkg", "no such folder"),
        ("streets.gpkg/out.gpkg", "streets.gpkg"),
        ("folder.gpkg", "is a folder"),
        (".", ".gpkg"),
    ],
)
def test_output_that_cannot_be_written(output: str, needle: str, tmp_path: Path) -> None:
    streets(tmp_path)
    (tmp_path / "folder.gpkg").mkdir()
    before = (tmp_path / "streets.gpkg").read_bytes()
    done = call(tmp_path, "generate", project(tmp_path, GOOD.replace("out.gpkg", output)))
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert output.split("/")[0].removeprefix(".") in done.stderr
    assert needle in done.stderr, done.stderr
    assert (tmp_path / "streets.gpkg").read_bytes() == before
    assert list((tmp_path / "folder.gpkg").iterdir()) == []
    assert not (tmp_path / "gone").exists()


def test_output_that_is_an_input_is_refused(tmp_path: Path) -> None:
    path = streets(tmp_path)
    before = path.read_bytes()
    (tmp_path / "p.toml").write_text(GOOD.replace("out.gpkg", "streets.gpkg"))
    done = call(tmp_path, "generate", "p.toml")
    assert path.read_bytes() == before
    assert done.returncode == 1
    assert "p.toml:3: project.output" in done.stderr
    assert "inputs.streets" in done.stderr


def test_every_fault_of_a_file_is_told_at_once_and_where_it_stands(tmp_path: Path) -> None:
    """A fault in a base names the base; several faults come one a line."""
    streets(tmp_path)
    (tmp_path / "base.toml").write_text('[rules.stop_line]\nwidth = "30 in"\n\n[crew]\nbrake = 1\n')
    text = 'extends = "base.toml"\n' + GOOD + '[rules.crosswalk]\nwidth = "1 ft"\n'
    done = call(tmp_path, "check", project(tmp_path, text))
    assert done.returncode == 1
    lines = done.stderr.removeprefix("error ").splitlines()
    assert [line.split(" ")[0] for line in sorted(lines)] == [
        "base.toml:2:",
        "base.toml:5:",
        "p.toml:8:",
    ]
    # the nearer file wins, and with it the fault is gone
    text = text.replace("[rules.crosswalk]", "[rules.stop_line]\n").replace('"1 ft"', '"18 in"')
    done = call(tmp_path, "check", project(tmp_path, text))
    assert "stop_line" not in done.stderr
    assert "base.toml:5: crew.brake" in done.stderr


def test_project_file_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "p.toml").write_bytes(b"\xff\xfe" + GOOD.encode())
    done = call(tmp_path, "check", "p.toml")
    assert (done.returncode, "p.toml: cannot be read" in done.stderr) == (1, True)
    assert call(tmp_path, "check", ".").returncode == 1


def test_sentinels_for_unknown_numbers_do_not_stop_the_run(tmp_path: Path) -> None:
    """-1 and 0 stand for "unknown" in many files."""
    table = gpd.read_file(streets(tmp_path))
    table["LANES"], table["ONE"] = [-1, 0, -9999], ["FT", "FT", ""]
    table.to_file(tmp_path / "streets.gpkg")
    text = GOOD + '[inputs.streets.fields]\nlanes = "LANES"\noneway = "ONE"\n'
    text += '[inputs.streets.values.oneway]\nFT = "forward"\n'
    done = call(tmp_path, "check", project(tmp_path, text))
    assert done.returncode == 0, done.stderr
    assert "lanes" in done.stdout


def test_exit_codes_of_the_program_itself(tmp_path: Path) -> None:
    """0 done, 1 bad input or settings, 2 usage; a shell script relies on them."""
    streets(tmp_path)
    (tmp_path / "p.toml").write_text(GOOD)
    (tmp_path / "bad.toml").write_text(GOOD + "[ruels]\n")
    assert started(tmp_path, "--quiet", "check", "p.toml") == Done(0, "", "")
    bad = started(tmp_path, "check", "bad.toml")
    assert (bad.returncode, bad.stdout) == (1, "")
    assert bad.stderr.startswith("error bad.toml:6: ruels: no such setting. Did you mean 'rules'?")
    assert started(tmp_path, "check").returncode == 2


def test_steps_out_of_order_are_told(tmp_path: Path) -> None:
    streets(tmp_path)
    (tmp_path / "p.toml").write_text(GOOD)
    for command in (["route", "p.toml"], ["export", "p.toml"], ["explain", "p.toml", "x"]):
        done = call(tmp_path, *command)
        assert done.returncode == 1
        assert "layoutgen generate" in done.stderr
        assert "Traceback" not in done.stderr


def test_missing_project_and_formats_and_ids(tmp_path: Path) -> None:
    streets(tmp_path)
    (tmp_path / "p.toml").write_text(GOOD)
    assert "layoutgen init" in call(tmp_path, "check", "none.toml").stderr
    assert call(tmp_path, "generate", "p.toml").returncode == 0
    done = call(tmp_path, "export", "p.toml", "--to", "gpx,geojsn")
    assert done.returncode == 1
    assert "Did you mean 'geojson'?" in done.stderr
    done = call(tmp_path, "explain", "p.toml", "stop_line/none/1")
    assert done.returncode == 1
    assert "no marking" in done.stderr


def test_data_that_give_nothing_still_end_well(tmp_path: Path) -> None:
    """Tiny streets, a broken coordinate, markup in names: findings, not faults."""
    inf = float("inf")
    lines = [
        shapely.LineString([(2000000, 700000), (2000005, 700000)]),
        shapely.LineString([(2000005, 700000), (2000009, 700000)]),
        shapely.LineString([(2000005, 700000), (2000005, 700003)]),
        shapely.LineString([(2000005, 700000), (inf, 700003)]),
    ]
    table = gpd.GeoDataFrame(
        {"segment_id": ["1", "2", "3", "4"], "name": ["[bold]a[/]", "=1+1", "", None]},
        geometry=lines,
        crs="EPSG:2264",
    )
    table.to_file(tmp_path / "streets.gpkg")
    (tmp_path / "p.toml").write_text(GOOD + '[rules.crosswalk]\nat = ["every_leg"]\n')
    done = call(tmp_path, "--verbose", "run", "p.toml")
    assert done.returncode == 0, done.stderr
    assert "bad_coordinates" in done.stdout
    assert "0 jobs in 0 truck shifts" in done.stdout


def test_init_takes_the_only_line_layer_for_streets(tmp_path: Path) -> None:
    streets(tmp_path, "net.gpkg")
    done = call(tmp_path, "init", "net.gpkg", "-o", "new.toml")
    assert done.returncode == 0, done.stderr
    assert "layoutgen check new.toml" in done.stdout
    assert call(tmp_path, "check", "new.toml").returncode == 0
    again = call(tmp_path, "init", "net.gpkg", "-o", "new.toml")
    assert again.returncode == 1
    assert "--force" in again.stderr


def test_wrong_usage_is_exit_2(tmp_path: Path) -> None:
    for args in (["generate"], ["generate", "a.toml", "b.toml"], ["paint", "a.toml"], ["init"]):
        assert call(tmp_path, *args).returncode == 2, args


def test_quiet_prints_nothing_and_plain_lines_elsewhere(tmp_path: Path) -> None:
    streets(tmp_path)
    (tmp_path / "p.toml").write_text(GOOD)
    quiet = call(tmp_path, "--quiet", "generate", "p.toml")
    assert (quiet.returncode, quiet.stdout, quiet.stderr) == (0, "", "")
    plain = call(tmp_path, "check", "p.toml")
    assert "reading inputs" in plain.stderr.splitlines()
    assert "\x1b" not in plain.stderr + plain.stdout
