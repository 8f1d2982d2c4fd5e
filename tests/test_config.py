"""Settings: units against their definitions, merging, conditions, and the line of a fault."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutgen.config import (
    SUFFIXES,
    UNITS,
    Params,
    Raw,
    choice,
    length,
    line_of,
    measure,
    merge,
    nearest,
    number,
    parse_measure,
    public_name,
    read_raw,
    shipped,
    validate,
    where,
)
from layoutgen.errors import ConfigError


class Line(Params):
    width_ft: float = length("4 in", low="4 in", high="6 in", source="LINE-01")
    dry_min: float = measure("time", "90 s", low="0 s", high="1 h", source="common practice")
    film_mil: float = measure("film", "15 mil", low="1 mil", high="40 mil", source="OP-013")
    coats: int = number(1, low=1, high=3, source="design")
    share: float = number(0.5, low=0.0, high=1.0, source="design")
    color: str = choice("white", source="LINE-16")


class Whole(Params):
    line: Line = Line()
    lines: dict[str, Line] = choice({}, source="design")


def raw(text: str, path: str = "city.toml") -> Raw:
    table = tomllib.loads(text)
    return Raw(table, ((Path(path), table, text),))


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        # exact by definition: 1 in = 25.4 mm, 1 mi = 5,280 ft = 1.609344 km, 1 US gal = 231 cu in
        ("12 in", "length", 1.0),
        ("1 yd", "length", 3.0),
        ("0.3048 m", "length", 1.0),
        ("30.48 cm", "length", 1.0),
        ("304.8 mm", "length", 1.0),
        ("1.609344 km", "length", 5280.0),
        ("1 mi", "length", 5280.0),
        ("4'", "length", 4.0),
        ('6"', "length", 0.5),
        (" 1.5ft ", "length", 1.5),
        (".5 ft", "length", 0.5),
        ("-2 ft", "length", -2.0),
        ("1.609344 km/h", "speed", 1.0),
        ("25 mph", "speed", 25.0),
        ("90 s", "time", 1.5),
        ("1.5 h", "time", 90.0),
        ("3.785411784 L", "volume", 1.0),
        ("15 mil", "film", 15.0),
        ("40 deg", "angle", 40.0),
    ],
)
def test_units(text: str, dimension: str, value: float) -> None:
    assert parse_measure(text, dimension) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [("12", "length"), ("ft", "length"), ("12 mph", "length"), ("1 2 ft", "length"),
     ("12 feet", "length"), ("1e3 ft", "length"), ("nan ft", "length"), ("25 ft", "speed"),
     ("", "length"), ("1,5 m", "length"), ("12 IN", "length")],
)  # fmt: skip
def test_what_is_no_measure(text: str, dimension: str) -> None:
    with pytest.raises(ValueError, match=f"expected a {dimension}"):
        parse_measure(text, dimension)


@given(st.floats(0.01, 9999.0), st.sampled_from(sorted(UNITS)))
def test_a_measure_comes_back_in_any_unit(value: float, unit: str) -> None:
    dimension, size = UNITS[unit]
    assert parse_measure(f"{value:.6f} {unit}", dimension) == pytest.approx(value * size, rel=1e-3)


def test_names_in_a_file_drop_the_unit() -> None:
    assert public_name("width_ft") == "width"
    assert public_name("dry_min") == "dry"
    assert public_name("one_lane_height_ft") == "one_lane_height"
    assert public_name("at") == "at"
    assert all(public_name(f"a{end}") == "a" for end in SUFFIXES)


def test_values_and_defaults() -> None:
    assert Line().width_ft == pytest.approx(1 / 3)
    assert Line().dry_min == 1.5
    line = validate(Line, raw('width = "15 cm"\ndry = "0.5 h"\ncoats = 2\nshare = 1\n'))
    assert line.width_ft == pytest.approx(0.15 / 0.3048)
    assert (line.dry_min, line.coats, line.share) == (30.0, 2, 1)
    with pytest.raises(Exception, match="frozen"):
        line.coats = 3


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            '[line]\nwidth = "7 in"\n',
            "city.toml:2: line.width: 7 in is outside 4 in to 6 in (LINE-01)",
        ),
        ("[line]\nwidth = 4\n", 'city.toml:2: line.width: needs a unit, e.g. "4 ft".'),
        ('[line]\nwidth = "4 mil"\n', "city.toml:2: line.width: expected a length"),
        ('[line]\nfilm = "15 in"\n', "city.toml:2: line.film: expected a film"),
        ("[line]\ncoats = 4\n", "city.toml:2: line.coats: 4 is outside 1 to 3 (design)"),
        ('[line]\ncoats = "2"\n', "city.toml:2: line.coats: expected a number, got '2'"),
        ("[line]\ncoats = 1.5\n", "city.toml:2: line.coats: "),
        ("[line]\nshare = nan\n", "city.toml:2: line.share: nan is outside 0 to 1 (design)"),
        ("[line]\nshare = inf\n", "city.toml:2: line.share: inf is outside"),
        (
            '[line]\nwitdh = "4 in"\n',
            "city.toml:2: line.witdh: no such setting. Did you mean 'width'?",
        ),
        (
            "[line]\nwidth_ft = 1\n",
            "city.toml:2: line.width_ft: no such setting. Did you mean 'width'?",
        ),
        ("[liens]\n", "city.toml:1: liens: no such setting. Did you mean 'line"),
        ("[line]\ncolor = 3\n", "city.toml:2: line.color: "),
        ('\n[lines."a b"]\ncoats = 9\n', "city.toml:3: lines.a b.coats: 9 is outside"),
        ('line.width = "1 ft"\n', "city.toml:1: line.width: 1 ft is outside"),
        ("line = { coats = 0 }\n", "city.toml:1: line.coats: 0 is outside"),
    ],
)
def test_faults_name_file_line_key_and_what_was_expected(text: str, told: str) -> None:
    with pytest.raises(ConfigError) as fault:
        validate(Whole, raw(text))
    assert str(fault.value).startswith(told)


def test_edges_of_a_range_are_in_it() -> None:
    for text in ("4 in", "6 in", "0.3333333333333 ft"):
        validate(Line, raw(f'width = "{text}"\n'))
    for text in ("3.99 in", "6.01 in", "-4 in"):
        with pytest.raises(ConfigError, match="outside"):
            validate(Line, raw(f'width = "{text}"\n'))


def test_all_faults_come_at_once() -> None:
    with pytest.raises(ConfigError) as fault:
        validate(Whole, raw('[line]\nwidth = "1 ft"\ncoats = 9\nx = 1\n'))
    assert [line.split(": ")[0] for line in str(fault.value).splitlines()] == [
        "city.toml:2",
        "city.toml:3",
        "city.toml:4",
    ]


def test_merging_is_table_by_table_and_leaves_both_alone() -> None:
    base = {"a": {"x": 1, "y": [1, 2]}, "b": 1, "c": {"z": 1}}
    top: dict[str, Any] = {"a": {"y": [3]}, "b": {"deep": 1}, "c": 5}
    assert merge(base, top) == {"a": {"x": 1, "y": [3]}, "b": {"deep": 1}, "c": 5}
    assert base == {"a": {"x": 1, "y": [1, 2]}, "b": 1, "c": {"z": 1}}
    merge(base, top)["a"]["y"].append(4)
    assert top["a"]["y"] == [3]


def test_nearer_files_win_and_paths_belong_to_their_file(tmp_path: Path) -> None:
    (tmp_path / "agency").mkdir()
    (tmp_path / "agency" / "state.toml").write_text(
        '[project]\noutput = "state.gpkg"\nname = "state"\n[inputs.streets]\nsource = "s.shp"\n'
    )
    (tmp_path / "agency" / "county.toml").write_text(
        'extends = "state.toml"\n[project]\nname = "county"\n[inputs.streets]\nlayer = "x"\n'
    )
    (tmp_path / "city.toml").write_text(
        'extends = ["agency/county.toml", "agency/state.toml"]\n[inputs.streets]\ncrs = "y"\n'
    )
    found = read_raw(tmp_path / "city.toml")
    streets = found.table["inputs"]["streets"]
    assert found.table["project"]["name"] == "county"
    assert streets["source"] == str(tmp_path / "agency" / "s.shp")
    assert (streets["layer"], streets["crs"]) == ("x", "y")
    assert found.table["project"]["output"] == str(tmp_path / "agency" / "state.gpkg")
    assert "extends" not in found.table
    assert found.place(("project", "name")).endswith("county.toml:3")
    assert found.place(("inputs", "streets", "crs")).endswith("city.toml:3")
    assert found.place(("nowhere",)).endswith("city.toml:1")


def test_bases_by_name_ring_and_missing(tmp_path: Path) -> None:
    (tmp_path / "a.toml").write_text('extends = "us_base"\n')
    assert "rules" in read_raw(tmp_path / "a.toml").table
    assert shipped("us_base.toml") == shipped("us_base")
    assert shipped("no_such") is None
    (tmp_path / "a.toml").write_text('extends = "b.toml"\n')
    (tmp_path / "b.toml").write_text('# two\n\nextends = "a.toml"\n')
    with pytest.raises(ConfigError, match=r"ring: a\.toml -> b\.toml -> a\.toml"):
        read_raw(tmp_path / "a.toml")
    (tmp_path / "b.toml").write_text('# two\n\nextends = "c.toml"\n')
    with pytest.raises(ConfigError, match=r"b\.toml:3: extends: no file 'c\.toml'"):
        read_raw(tmp_path / "a.toml")


@pytest.mark.parametrize(
    ("wanted", "got", "holds"),
    [
        ("signal", "signal", True),
        ("Signal", "signal", True),
        ("signal", None, False),
        ("signal", "stop", False),
        (["signal", "stop"], "stop", True),
        (["signal", "stop"], "yield", False),
        ([], "stop", False),
        ("not signal", "stop", True),
        ("not signal", "signal", False),
        (">= 35", 35.0, True),
        (">35", 35, False),
        ("< 4", 3, True),
        ("<= 4", "4", True),
        ("> 4", None, False),
        ("> 4", "wide", False),
        (4, 4, True),
        (4, 5, False),
        (True, True, True),
        (True, False, False),
        ("", "", True),
    ],
)
def test_conditions(wanted: Any, got: Any, holds: bool) -> None:
    assert where({"a": wanted}).matches({"a": got}) is holds
    assert where({"a": wanted, "b": 1}).matches({"a": got, "b": 1}) is holds
    assert where({"a": wanted, "b": 1}).matches({"a": got, "b": 2}) is False


@pytest.mark.parametrize(
    ("wanted", "got"), [(25, 25.0), ("25", 25.0), (36.0, 36), ([25, 35], 35.0), (2, "2.0")]
)
def test_whole_numbers_equal_measures(wanted: Any, got: Any) -> None:
    """`where = { speed_mph = 25 }`: attributes are floats, TOML numbers mostly integers."""
    assert where({"a": wanted}).matches({"a": got})


def test_words_that_begin_with_not() -> None:
    assert not where({"name": "notch road"}).matches({"name": "Oak Way"})


def test_no_condition_holds_everywhere() -> None:
    assert where({}).matches({})
    assert where({"b": 1, "a": 2}).names() == ("a", "b")


def test_nearest_name_or_all_names() -> None:
    assert nearest("widht", ["width", "at"]) == " Did you mean 'width'?"
    assert nearest("zzz", ["width", "at"]) == " Valid: at, width."


TEXT = """\
# comment = 1
top = "x = y"

[a]
b = 1
c.d = 2
[a.e]
"f g" = 3
[[a.list]]
h = 1
[[a.list]]
h = 2
  [a.list.sub]
  k = 1
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("top",), 2),
        (("a",), 4),
        (("a", "b"), 5),
        (("a", "c", "d"), 6),
        (("a", "e"), 7),
        (("a", "e", "f g"), 8),
        (("a", "list", 0, "h"), 10),
        (("a", "list", 1, "h"), 12),
        (("a", "list", 1), 11),
        (("a", "list", 1, "sub", "k"), 14),
        (("a", "e", "missing"), 7),
        (("nothing", "here"), 1),
    ],
)
def test_line_of_a_key(path: tuple[str | int, ...], line: int) -> None:
    assert line_of(TEXT, path) == line
