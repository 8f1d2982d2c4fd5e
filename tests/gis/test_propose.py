"""Proposed project files: right columns and codes, no traps, and a file that runs as it is.

Files are made here with invented values; their column names and codes imitate those that agencies
use. The sample town is checked against the mapping written by hand in `configs/demo.toml`.
"""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
import shapely

from layoutgen import pipeline
from layoutgen.config import read_raw
from layoutgen.errors import Finding, InputError
from layoutgen.gis.propose import Match, Proposal, propose

REPO = Path(__file__).resolve().parents[2]
SAMPLE = REPO / "sample_gis"
FEET = "EPSG:2264"
METERS = "EPSG:32618"
NAMES = ["Osier Street", "Teasel Street", "Plum Lane", "Osier Street", "Teasel Street", "Plum Lane"]


def lines(count: int, *, x: float = 2_912_000.0) -> list[Any]:
    """A row of parallel blocks, 300 ft long."""
    return [
        shapely.LineString([(x + 100.0 * i, 222_000.0), (x + 100.0 * i, 222_300.0)])
        for i in range(count)
    ]


def streets(
    folder: Path,
    columns: Mapping[str, Sequence[Any]],
    *,
    crs: str = FEET,
    file: str = "streets.gpkg",
) -> Path:
    """Street file of some columns, with names if none are given."""
    count = len(next(iter(columns.values())))
    table = {"ST_NAME": (NAMES * count)[:count]} | dict(columns)
    path = folder / file
    gpd.GeoDataFrame(table, geometry=lines(count), crs=crs).to_file(path)
    return path


def points(folder: Path, file: str, columns: Mapping[str, Sequence[Any]]) -> Path:
    count = len(next(iter(columns.values())))
    spots = [shapely.Point(2_912_000.0 + 100.0 * i, 222_000.0) for i in range(count)]
    path = folder / file
    gpd.GeoDataFrame(dict(columns), geometry=spots, crs=FEET).to_file(path)
    return path


def line_of(proposal: Proposal, field: str, role: str = "streets") -> Match | None:
    return next((m for m in proposal.rows if (m.role, m.field) == (role, field)), None)


def codes(match: Match | None) -> dict[str, str | None]:
    assert match is not None
    return {code: ours for code, ours, _ in match.values}


def table_of(proposal: Proposal, role: str = "streets") -> dict[str, Any]:
    found: dict[str, Any] = tomllib.loads(proposal.text)["inputs"][role]
    return found


def checked(proposal: Proposal, path: Path) -> list[Finding]:
    """Findings of the proposed file, run unchanged."""
    path.write_text(proposal.text, encoding="utf-8")
    return list(pipeline.check(pipeline.load_project(path), lambda _: None).findings)


# --- the sample town


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> tuple[Proposal, Path]:
    path = tmp_path_factory.mktemp("town") / "project.toml"
    return propose([SAMPLE], path), path


def by_hand() -> dict[str, Any]:
    found: dict[str, Any] = read_raw(REPO / "configs" / "demo.toml").table["inputs"]
    return found


def test_sample_town_gets_the_columns_chosen_by_hand(town: tuple[Proposal, Path]) -> None:
    found = tomllib.loads(town[0].text)["inputs"]
    wanted = by_hand()
    assert found.keys() == wanted.keys()
    for role, spec in wanted.items():
        assert found[role]["fields"] == spec["fields"]
        own, hand = (
            tables[tables[role].get("source_of", role)]["source"] for tables in (found, wanted)
        )
        assert (town[1].parent / own).resolve() == Path(hand)


def test_sample_town_gets_the_codes_chosen_by_hand_or_a_comment(
    town: tuple[Proposal, Path],
) -> None:
    found = tomllib.loads(town[0].text)["inputs"]
    left: set[tuple[str, str]] = set()
    for role, spec in by_hand().items():
        for field, values in spec.get("values", {}).items():
            proposed = found[role]["values"].get(field, {})
            if field in ("turn_lanes_forward", "turn_lanes_backward"):
                values = {code: values[code] for code in proposed}
            assert proposed.items() <= values.items(), field
            left |= {(field, code) for code in values.keys() - proposed.keys()}
    ints = {("street_class", c) for c in "1235789"} | {("bike_lane", c) for c in "0123"}
    assert left == ints | {("control", "TS")}
    assert '# 3 = "arterial"  # 36 rows' in town[0].text
    assert '# TS = ""  # 54 rows' in town[0].text


def test_sample_town_runs_unchanged(town: tuple[Proposal, Path]) -> None:
    found = checked(*town)
    unknown = {(f.source, f.feature_id) for f in found if f.code == "unknown_code"}
    wanted = {("streets", c) for c in "1235789"} | {("streets", c) for c in "0123"}
    assert unknown == wanted | {("controls", "TS")}
    assert not [f for f in found if f.severity == "error" and not f.rows]


def test_sample_town_names_what_is_left(town: tuple[Proposal, Path]) -> None:
    open_ = {u.role: u for u in town[0].unmapped}
    assert open_["streets"].columns == ("ROW_WD", "OWNER")
    # each side and the line as a whole: other ways to say what the town says already
    sides = ("bike_left", "bike_right", "parking_left", "parking_right")
    others = ("divided", "median_ft", "turn_lanes", "level", "bridge", "tunnel")
    assert open_["streets"].fields == (*sides, *others)
    assert open_["yard"].fields == ("yard_id",)
    assert town[0].messages == ("kelpwick_rail.gpkg: fits no role (1 row, Line)",)
    assert all(0.0 <= m.confidence <= 1.0 for m in town[0].rows)


def test_roles_are_found_without_speaking_file_names(tmp_path: Path) -> None:
    parts = ("streets.zip", "intersections.geojson", "controls.fgb", "schools.kml", "yard.geojson")
    for k, part in enumerate(parts):
        table = gpd.read_file(SAMPLE / f"kelpwick_{part}")
        table.to_file(tmp_path / "all.gpkg", layer=f"t{k}")
    found = propose([tmp_path / "all.gpkg"], tmp_path / "p.toml")
    inputs = tomllib.loads(found.text)["inputs"]
    assert {role: spec["layer"] for role, spec in inputs.items()} == {
        "streets": "t0",
        "intersections": "t1",
        "controls": "t2",
        "schools": "t3",
        "yard": "t4",
    }
    (tmp_path / "p.toml").write_text(found.text)
    read = pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None).inputs
    assert read.rows == {"streets": 299, "intersections": 150, "controls": 253} | {
        "schools": 2,
        "yard": 1,
    }


# --- one-way codes


@pytest.mark.parametrize(
    ("column", "seen", "wanted"),
    [
        ("ONE_WAY", ["FT", "TF", None], {"FT": "forward", "TF": "backward"}),
        ("TRAFDIR", ["FT", "TF", "TW"], {"FT": "forward", "TF": "backward", "TW": "both"}),
        ("Direction", ["0", "1", "-1"], {"0": "both", "1": "forward", "-1": "backward"}),
        ("Direction", [0, 1, -1], {"0": "both", "1": "forward", "-1": "backward"}),
        ("oneway", ["yes", "no", "-1"], {"yes": "forward", "no": "both", "-1": "backward"}),
        ("oneway", ["B", "F", "T"], {"B": "both", "F": "forward", "T": "backward"}),
        ("ONEWAY", ["Y", "N", "N"], {"Y": "forward", "N": "both"}),
    ],
)
def test_oneway_codes(tmp_path: Path, column: str, seen: list[Any], wanted: dict[str, str]) -> None:
    found = propose([streets(tmp_path, {column: seen})], tmp_path / "p.toml")
    assert codes(line_of(found, "oneway")) == wanted
    assert not [f for f in checked(found, tmp_path / "p.toml") if f.code == "unknown_code"]


@pytest.mark.parametrize(
    ("column", "seen"),
    [
        ("DIRECTION", ["South to North", "West to East", "South to North"]),
        ("Route_Direction", ["NB", "EB", "NB"]),
        ("Oneway", [None, None, None]),
        ("Direction_Prefix", ["N", "B", "N"]),
        ("Operation", [1, 2, 1]),
    ],
)
def test_columns_that_only_sound_like_oneway(tmp_path: Path, column: str, seen: list[Any]) -> None:
    found = propose([streets(tmp_path, {column: seen})], tmp_path / "p.toml")
    assert line_of(found, "oneway") is None
    assert "oneway" in found.unmapped[0].fields


def test_oneway_true_false_is_told_and_not_mapped(tmp_path: Path) -> None:
    found = propose([streets(tmp_path, {"ONEWAY": ["T", "F", "F"]})], tmp_path / "p.toml")
    match = line_of(found, "oneway")
    assert match is not None
    assert not match.active
    assert '# oneway = "ONEWAY"  # 0.20 T/F says' in found.text
    assert "oneway" not in table_of(found)["fields"]


def test_sense_that_is_only_assumed_is_less_sure(tmp_path: Path) -> None:
    flag = propose([streets(tmp_path, {"ONEWAY": ["Y", "N", "N"]})], tmp_path / "p.toml")
    sense = propose(
        [streets(tmp_path, {"ONEWAY": ["FT", "TF", None]}, file="b.gpkg")], tmp_path / "p.toml"
    )
    doubtful, certain = line_of(flag, "oneway"), line_of(sense, "oneway")
    assert doubtful is not None
    assert certain is not None
    assert doubtful.confidence < 0.7 < certain.confidence
    assert "check" in doubtful.why


# --- numbers


def test_right_of_way_is_no_roadway_width(tmp_path: Path) -> None:
    for k, name in enumerate(("ROW_WIDTH", "ROWDBL", "ROW_Width", "Med_Width", "Shldr_Rt_W")):
        path = streets(tmp_path, {name: [60, 50, 40]}, file=f"s{k}.gpkg")
        assert line_of(propose([path], tmp_path / "p.toml"), "width_ft") is None


def test_width_and_its_sentinels(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {
        "ROW_WIDTH": [60, 50, 60, 60],
        "PAVE_WIDTH": ["36", "0", "28", "999"],
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    match = line_of(found, "width_ft")
    assert match is not None
    assert match.column == "PAVE_WIDTH"
    assert codes(match) == {"0": "", "999": ""}


def test_width_in_meters_by_its_name(tmp_path: Path) -> None:
    path = streets(tmp_path, {"width_m": [9.0, 11.0, 7.3]}, crs=METERS)
    found = propose([path], tmp_path / "p.toml")
    assert table_of(found)["units"] == {"width_ft": "m"}
    assert not [f for f in checked(found, tmp_path / "p.toml") if f.severity == "error"]


def test_width_that_may_be_meters_is_a_comment(tmp_path: Path) -> None:
    path = streets(tmp_path, {"WIDTH": [6.5, 7.3, 7.0]}, crs=METERS)
    found = propose([path], tmp_path / "p.toml")
    assert "width_ft" not in table_of(found)["fields"]
    assert "# width_ft = " in found.text
    assert "if these are metres" in found.text


def test_width_whose_texts_carry_their_unit(tmp_path: Path) -> None:
    path = streets(tmp_path, {"WIDTH": ["9.5 m", "11 m", "7.3 m"]})
    match = line_of(propose([path], tmp_path / "p.toml"), "width_ft")
    assert match is not None
    assert match.active
    assert match.unit == ""


def test_speeds(tmp_path: Path) -> None:
    plain = streets(tmp_path, {"maxspeed": ["40", "50", "30"]})
    found = propose([plain], tmp_path / "p.toml")
    assert table_of(found)["units"] == {"speed_mph": "km/h"}
    own = streets(tmp_path, {"maxspeed": ["25 mph", "30 mph", "25 mph"]}, file="b.gpkg")
    assert "units" not in table_of(propose([own], tmp_path / "p.toml"))
    odd = streets(tmp_path, {"SPEED": [25, 0, 99]}, file="c.gpkg")
    match = line_of(propose([odd], tmp_path / "p.toml"), "speed_mph")
    assert codes(match) == {"0": "", "99": ""}


def test_opposing_lanes_make_lanes_one_direction(tmp_path: Path) -> None:
    both = streets(tmp_path, {"Num_Lanes": [1, 2, 1], "Opp_Lanes": [1, 2, 0]})
    found = propose([both], tmp_path / "p.toml")
    assert table_of(found)["fields"]["lanes_forward"] == "Num_Lanes"
    assert "lanes" not in table_of(found)["fields"]
    one = streets(tmp_path, {"Num_Lanes": [2, 4, 2]}, file="b.gpkg")
    assert table_of(propose([one], tmp_path / "p.toml"))["fields"]["lanes"] == "Num_Lanes"


# --- names and ids


def test_name_parts_are_joined(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {
        "PREFIX": ["N", None, "S"],
        "ST_NAME": [None, None, None],
        "NAME": ["Osier", "Teasel", "Plum"],
        "TYPE_": ["St", "St", "Ln"],
        "SUFFIX": [None, None, None],
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert table_of(found)["fields"]["name"] == ["PREFIX", "NAME", "TYPE_"]
    assert not [f for f in checked(found, tmp_path / "p.toml") if f.severity == "error"]


def test_whole_names_are_not_joined_again(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {
        "ST_NAME": [None, None, None],
        "Street": ["Osier St", "Teasel St", "Plum Ln"],
        "Street_Type": ["St", "St", "Ln"],
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert table_of(found)["fields"]["name"] == "Street"


def test_the_whole_name_wins_over_the_base_name(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {"STNAME": ["OSIER", "TEASEL", "PLUM"], "FULLNAME": NAMES[:3]}
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert table_of(found)["fields"]["name"] == "FULLNAME"


def test_placeholder_names_are_unknown(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {"ST_NAME": ["Osier Street", "UNNAMED ALLEY", "UNNAMED ALLEY"]}
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert codes(line_of(found, "name")) == {"UNNAMED ALLEY": ""}


def test_ids_must_be_unique(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {
        "STREET_ID": [7, 7, 7, 7, 7, 7],
        "OBJECTID": [1, 2, 3, 4, 5, 6],
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    match = line_of(found, "segment_id")
    assert match is not None
    assert match.column == "OBJECTID"
    assert "may change" in match.why


# --- classes


@pytest.mark.parametrize(
    ("column", "wanted"),
    [
        ("MTFCC", {"S1100": "freeway", "S1200": "arterial", "S1400": "local"}),
        ("CFCC", {"A11": "freeway", "A31": "collector", "A41": "local", "A63": "ramp"}),
        (
            "FUNC_CLASS",
            {"Principal Arterial": "arterial", "MINOR COLLECTOR": "collector", "Local": "local"},
        ),
        ("class", {"Local": "local", "CO": "collector", "MA": "arterial", "PA": "arterial"}),
        ("highway", {"primary": "arterial", "tertiary": "collector", "residential": "local"}),
        ("F_System", {"1": "freeway", "3": "arterial", "5": "collector", "7": "local"}),
    ],
)
def test_class_schemes(tmp_path: Path, column: str, wanted: dict[str, str]) -> None:
    found = propose([streets(tmp_path, {column: list(wanted)})], tmp_path / "p.toml")
    assert codes(line_of(found, "street_class")) == wanted
    assert not [f for f in checked(found, tmp_path / "p.toml") if f.code == "unknown_code"]


def test_numbers_without_a_legend_are_left_to_the_user(tmp_path: Path) -> None:
    found = propose([streets(tmp_path, {"RDCLASS": [10, 10, 14]})], tmp_path / "p.toml")
    match = line_of(found, "street_class")
    assert codes(match) == {"10": None, "14": None}
    assert table_of(found)["values"]["street_class"] == {}
    assert '# 10 = ""  # 2 rows; one of freeway, ramp' in found.text
    unknown = [f for f in checked(found, tmp_path / "p.toml") if f.code == "unknown_code"]
    assert {f.feature_id for f in unknown} == {"10", "14"}


def test_codes_that_are_no_streets_are_left_out(tmp_path: Path) -> None:
    columns: dict[str, list[Any]] = {
        "FUNC_CLASS": ["Local", "Railroad", "Minor Arterial", "Scenic"]
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    wanted = ["Local", "Minor Arterial", "Scenic"]
    assert table_of(found)["where"] == {"FUNC_CLASS": wanted}
    assert '# Scenic = ""  # 1 row' in found.text
    left_out = [f for f in checked(found, tmp_path / "p.toml") if f.code == "filtered_out"]
    assert [f.rows for f in left_out] == [1]


def test_rows_without_highway_are_left_out(tmp_path: Path) -> None:
    columns = {"highway": ["primary", None, "residential", "platform"]}
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert table_of(found)["where"] == {"highway": ["primary", "residential"]}
    left_out = [f.rows for f in checked(found, tmp_path / "p.toml") if f.code == "filtered_out"]
    assert left_out == [2]


def test_sides_need_side_letters(tmp_path: Path) -> None:
    compass = streets(tmp_path, {"PARK_SIDE": ["N", "S", "E"]})
    assert line_of(propose([compass], tmp_path / "p.toml"), "parking") is None
    sides = streets(tmp_path, {"PARK_SIDE": ["N", "L", "B"]}, file="b.gpkg")
    match = line_of(propose([sides], tmp_path / "p.toml"), "parking")
    assert codes(match) == {"N": "none", "L": "left", "B": "both"}


def test_a_column_with_our_name_but_other_content_is_switched_off(tmp_path: Path) -> None:
    found = propose([streets(tmp_path, {"surface": ["x7", "x9", "x9"]})], tmp_path / "p.toml")
    assert table_of(found)["fields"]["surface"] == []
    assert not [f for f in checked(found, tmp_path / "p.toml") if f.code == "unknown_code"]


def test_strange_codes_keep_the_file_valid(tmp_path: Path) -> None:
    odd = ['say "hi"', "back\\slash", "line\nbreak", "bell\x07", "# no = 1", "é/ß", "=]", "del\x7f"]
    columns: dict[str, list[Any]] = {
        "FUNC_CLASS": ["Local"] * 8 + odd,
        'od"d\ncol': list(range(16)),
    }
    path = streets(tmp_path, columns, file='st"r#eets.geojson', crs="EPSG:4326")
    found = propose([path], tmp_path / "p.toml")
    assert table_of(found)["values"]["street_class"] == {"Local": "local"}
    assert len([x for x in found.text.splitlines() if x.endswith("alley, path")]) == len(odd)
    assert (tmp_path / table_of(found)["source"]).samefile(path)


def test_many_codes_are_cut_short(tmp_path: Path) -> None:
    seen = ["Local"] * 70 + [f"Zone {k}" for k in range(70)]
    found = propose([streets(tmp_path, {"FUNC_CLASS": seen})], tmp_path / "p.toml")
    assert "# and 11 more codes" in found.text


# --- controls


def test_a_file_of_one_kind_of_control(tmp_path: Path) -> None:
    roads = streets(tmp_path, {"ID": [1, 2, 3]})
    columns: dict[str, list[Any]] = {
        "Jurisdiction": ["Town", None, "State"],
        "Location": ["A", "B", "C"],
    }
    posts = points(tmp_path, "signals.gpkg", columns)
    found = propose([roads, posts], tmp_path / "p.toml")
    wanted = {"Town": "signal", "State": "signal", "": "signal"}
    assert table_of(found, "controls")["values"]["control"] == wanted
    (tmp_path / "p.toml").write_text(found.text)
    inputs = pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None).inputs
    assert inputs.tables["controls"]["control"].tolist() == ["signal"] * 3


def test_signs_by_their_number(tmp_path: Path) -> None:
    roads = streets(tmp_path, {"ID": [1, 2, 3]})
    columns: dict[str, list[Any]] = {
        "MUTCD": ["R1-1", "R1-2", "R1-1 R1-3P", "R7-8"],
        "FACING": [0, 90, 180, 270],
    }
    signs = points(tmp_path, "signs.gpkg", columns)
    match = line_of(propose([roads, signs], tmp_path / "p.toml"), "control", "controls")
    wanted = {"R1-1": "stop", "R1-2": "yield", "R1-1 R1-3P": "all_way_stop", "R7-8": None}
    assert codes(match) == wanted


BIKE_CODES = {
    "Bike Lane": "lane",
    "Buffered Bike Lane": "buffered",
    "Protected Bike Lane": "separated",
    "Cycle Track": "separated",
    "Sharrow": "shared",
    "Shared Lane Marking": "shared",
    "Contra-Flow Bike Lane": "contraflow",
    "Multi-Use Path": "path",
    "Trail": "path",
    "Proposed Bike Lane": "",
    "Quiet Loop": None,
}


@pytest.mark.parametrize("file", ["bikeways.gpkg", "layer7.gpkg"])
def test_a_bike_facility_layer_is_known_by_its_columns_or_its_name(
    tmp_path: Path, file: str
) -> None:
    roads = streets(tmp_path, {"ID": [1, 2, 3], "FUNC_CLASS": ["Local"] * 3})
    count = len(BIKE_CODES)
    sides = ["on both sides of a two-way street", "on one side", "on a one-way street"]
    columns = {
        "FACILITYID": list(range(count)),
        "FacilityType": list(BIKE_CODES),
        "FacilityDetails": (sides * count)[:count],
    }
    bikes = streets(tmp_path, columns, file=file)
    found = propose([roads, bikes], tmp_path / "p.toml")
    assert set(tomllib.loads(found.text)["inputs"]) == {"streets", "bike_facilities"}
    assert codes(line_of(found, "facility", "bike_facilities")) == BIKE_CODES
    side = codes(line_of(found, "side", "bike_facilities"))
    assert side == dict(zip(sides, ("both", "one", "with_traffic"), strict=True))
    assert line_of(found, "name", "bike_facilities").column == "ST_NAME"


def test_a_street_layer_with_a_bike_column_stays_one(tmp_path: Path) -> None:
    columns = {"ID": [1, 2, 3], "FUNC_CLASS": ["Local"] * 3, "Bike_Facility": ["Bike Lane"] * 3}
    found = propose([streets(tmp_path, columns, file="layer7.gpkg")], tmp_path / "p.toml")
    assert set(tomllib.loads(found.text)["inputs"]) == {"streets"}


# --- sources


def test_one_source_per_role_the_rest_is_told(tmp_path: Path) -> None:
    good = streets(tmp_path, {"ID": [1, 2, 3], "FUNC_CLASS": ["Local"] * 3})
    streets(tmp_path, {"ID": [1, 2, 3]}, file="old_streets.gpkg")
    found = propose([tmp_path], tmp_path / "p.toml")
    assert table_of(found)["source"] == good.name
    told = "old_streets.gpkg: also looks like streets; streets.gpkg fits better"
    assert found.messages == (told,)
    assert f"# {told}" in found.text


def test_paths_are_relative_to_the_project_file(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    path = streets(tmp_path / "a", {"ID": [1, 2, 3]})
    found = propose([path], tmp_path / "b" / "p.toml")
    assert table_of(found)["source"] == "../a/streets.gpkg"
    checked(found, tmp_path / "b" / "p.toml")


def test_no_crs_is_told_and_stops_the_run(tmp_path: Path) -> None:
    path = streets(tmp_path, {"ID": [1, 2, 3]}, file="streets.shp")
    path.with_suffix(".prj").unlink()
    posts = points(tmp_path, "signals.gpkg", {"TYPE": ["Signal", "Signal", "Signal"]})
    found = propose([path, posts], tmp_path / "p.toml")
    assert f'# crs = "{FEET}"  # the file names no CRS; its coordinates lie where' in found.text
    assert "streets: streets.shp names no CRS" in found.messages
    with pytest.raises(InputError, match="names no CRS"):
        checked(found, tmp_path / "p.toml")
    (tmp_path / "p.toml").write_text(found.text.replace("# crs =", "crs ="))
    pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None)


def test_degrees_without_crs_are_recognised(tmp_path: Path) -> None:
    text = "name,lon,lat\nAlder School,-71.1,42.3\nBirch School,-71.2,42.4\n"
    (tmp_path / "schools.csv").write_text(text)
    found = propose([tmp_path / "schools.csv"], tmp_path / "p.toml")
    assert '# crs = "EPSG:4326"  # the file names no CRS; its coordinates look like' in found.text
    assert any("no source looks like street centerlines" in m for m in found.messages)


def test_bad_sources(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        propose([tmp_path / "none.shp"], tmp_path / "p.toml")
    with pytest.raises(InputError, match="no vector file"):
        propose([tmp_path], tmp_path / "p.toml")
    (tmp_path / "bad.geojson").write_text("not a map")
    with pytest.raises(InputError, match="cannot open"):
        propose([tmp_path / "bad.geojson"], tmp_path / "p.toml")
    (tmp_path / "plain.csv").write_text("a,b\n1,2\n")
    found = propose([tmp_path / "plain.csv"], tmp_path / "p.toml")
    assert "plain.csv: fits no role (1 row, no geometry)" in found.messages


def test_a_folder_may_hold_files_that_cannot_be_used(tmp_path: Path) -> None:
    streets(tmp_path, {"ID": [1, 2, 3]})
    (tmp_path / "bad.geojson").write_text("not a map")
    (tmp_path / "plain.csv").write_text("a,b\n1,2\n")
    (tmp_path / "notes.txt").write_text("not looked at")
    found = propose([tmp_path], tmp_path / "p.toml")
    assert len(found.messages) == 2
    assert table_of(found)["source"] == "streets.gpkg"


def test_own_output_is_not_taken_for_a_source(tmp_path: Path) -> None:
    path = streets(tmp_path, {"ID": [1, 2, 3]})
    for layer in ("streets", "markings", "run_info"):
        gpd.read_file(path).to_file(tmp_path / "a.gpkg", layer=layer)
    found = propose([tmp_path], tmp_path / "p.toml")
    assert table_of(found)["source"] == "streets.gpkg"
    assert found.messages == ("a.gpkg: looks like an output of this program; not used",)


# --- tables joined by id, areas, and what lies across a street


def by_id(folder: Path, text: str, file: str = "limits.csv") -> Path:
    (folder / file).write_text(text)
    return folder / file


def test_a_table_with_the_ids_of_the_streets_is_joined(tmp_path: Path) -> None:
    roads = streets(tmp_path, {"SEG_NO": [101, 102, 103], "FUNC_CLASS": ["Local"] * 3})
    text = "SEG_NO,POSTED_SPE,Num_Lanes,PAVE_WIDTH\n101,25,2,30\n102,30,4,44\n103.0,99,2,31\n"
    found = propose([roads, by_id(tmp_path, text)], tmp_path / "p.toml")
    for name, fields in {
        "speed": {"segment_id": "SEG_NO", "speed_mph": "POSTED_SPE"},
        "lanes": {"segment_id": "SEG_NO", "lanes": "Num_Lanes"},
        "width": {"segment_id": "SEG_NO", "width_ft": "PAVE_WIDTH"},
    }.items():
        assert table_of(found, name)["fields"] == fields
        assert table_of(found, name)["source"] == "limits.csv"
    assert codes(line_of(found, "speed_mph", "speed")) == {"99": ""}
    assert "# limits.csv: 3 rows, joined by id" in found.text
    assert not any("names no CRS" in m for m in found.messages)
    (tmp_path / "p.toml").write_text(found.text)
    design = pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None).design
    assert [s.width_source for s in design.segments] == ["table"] * 3
    assert [s.speed_source for s in design.segments] == ["table", "table", "class default"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("SEG_NO,SPEED\n901,25\n902,30\n903,35\n", "most ids in SEG_NO are not those"),
        ("ID,SPEED\n101,25\n102,30\n103,35\n", "fits no role"),  # may be row numbers
        ("SEG_NO,SPEED\n101,7000\n102,8000\n103,9000\n", "fits no role"),
        ("SEG_NO,COLOR\n101,red\n102,red\n103,blue\n", "fits no role"),
    ],
)
def test_a_table_that_may_be_something_else_is_told_not_joined(
    tmp_path: Path, text: str, told: str
) -> None:
    roads = streets(tmp_path, {"SEG_NO": [101, 102, 103], "FUNC_CLASS": ["Local"] * 3})
    found = propose([roads, by_id(tmp_path, text)], tmp_path / "p.toml")
    assert set(tomllib.loads(found.text)["inputs"]) == {"streets"}
    assert any("limits.csv" in m and told in m for m in found.messages)


def polygons(folder: Path, file: str, columns: Mapping[str, Sequence[Any]]) -> Path:
    """Squares of 500 ft in a row."""
    count = len(next(iter(columns.values())))
    shapes = [shapely.Point(2_912_000.0 + 500.0 * i, 222_000.0).buffer(250.0) for i in range(count)]
    gpd.GeoDataFrame(dict(columns), geometry=shapes, crs=FEET).to_file(folder / file)
    return folder / file


def test_areas_and_what_lies_across_a_street(tmp_path: Path) -> None:
    streets(tmp_path, {"SEG_NO": [101, 102, 103], "FUNC_CLASS": ["Local"] * 3})
    polygons(
        tmp_path, "maintenance_districts.gpkg", {"DIST_NO": [1, 2], "DIST_NAME": ["Up", "Low"]}
    )
    polygons(tmp_path, "exclusions.gpkg", {"EXCL_ID": ["a"], "REASON": ["new pavement"]})
    rails = {"XING_NO": ["11", "12"], "TRACKS": [1, 2], "WARNING": ["Gates", "Crossbucks"]}
    points(tmp_path, "rail_crossings.gpkg", rails)
    humps = {"HUMP_ID": ["h1", "h2"], "HUMP_TYPE": ["Speed Hump", "Speed Cushion"]}
    points(tmp_path, "speed_humps.gpkg", humps)
    found = propose([tmp_path], tmp_path / "p.toml")
    assert table_of(found, "districts")["fields"] == {"district_id": "DIST_NO", "name": "DIST_NAME"}
    wanted = {"exclusion_id": "EXCL_ID", "reason": "REASON"}
    assert table_of(found, "exclusions")["fields"] == wanted
    wanted = {"crossing_id": "XING_NO", "tracks": "TRACKS", "control": "WARNING"}
    assert table_of(found, "rail_crossings")["fields"] == wanted
    devices = line_of(found, "control", "rail_crossings")
    assert codes(devices) == {"Gates": "gates", "Crossbucks": "signs"}
    assert codes(line_of(found, "kind", "speed_humps")) == {
        "Speed Hump": "hump",
        "Speed Cushion": "cushion",
    }
    bad = [f for f in checked(found, tmp_path / "p.toml") if f.code == "unknown_code"]
    assert not bad


@pytest.mark.parametrize("file", ["school_districts.gpkg", "zoning_districts.gpkg", "parks.gpkg"])
def test_polygons_that_are_no_districts_of_work_leave_no_street_out(
    tmp_path: Path, file: str
) -> None:
    roads = streets(tmp_path, {"SEG_NO": [101, 102, 103], "FUNC_CLASS": ["Local"] * 3})
    areas = polygons(tmp_path, file, {"CODE": ["A", "B"]})
    found = propose([roads, areas], tmp_path / "p.toml")
    assert "districts" not in tomllib.loads(found.text)["inputs"]


# --- shipped mappings


@pytest.mark.parametrize("key", ["TLID", "LINEARID"])
def test_census_files_extend_the_shipped_mapping(tmp_path: Path, key: str) -> None:
    columns: dict[str, list[Any]] = {
        "FULLNAME": NAMES[:3],
        "MTFCC": ["S1400", "S1400", "S1200"],
        key: ["11041", "11042", "11043"],
    }
    found = propose([streets(tmp_path, columns)], tmp_path / "p.toml")
    assert "tiger.toml" in tomllib.loads(found.text)["extends"]
    fields = table_of(found).get("fields", {})
    assert fields == ({} if key == "TLID" else {"segment_id": "LINEARID"})
    assert {m.field: m.column for m in found.rows} == {
        "segment_id": key,
        "name": "FULLNAME",
        "street_class": "MTFCC",
    }
    (tmp_path / "p.toml").write_text(found.text)
    design = pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None).design
    assert {s.street_class for s in design.segments} == {"arterial", "local"}


OSM = """<osm version="0.6">
<node id="1" lat="42.3000" lon="-71.1000"/>
<node id="2" lat="42.3010" lon="-71.1000"><tag k="highway" v="traffic_signals"/></node>
<node id="3" lat="42.3020" lon="-71.1000"/>
<node id="4" lat="42.3010" lon="-71.1010"/>
<way id="11"><nd ref="1"/><nd ref="2"/><nd ref="3"/>
 <tag k="highway" v="primary"/><tag k="name" v="Osier Street"/><tag k="maxspeed" v="25 mph"/></way>
<way id="12"><nd ref="2"/><nd ref="4"/>
 <tag k="highway" v="residential"/><tag k="name" v="Plum Lane"/></way>
</osm>
"""


def test_openstreetmap_extends_the_shipped_mapping(tmp_path: Path) -> None:
    (tmp_path / "town.osm").write_text(OSM)
    found = propose([tmp_path / "town.osm"], tmp_path / "p.toml")
    assert "osm.toml" in tomllib.loads(found.text)["extends"]
    assert table_of(found) == {"source": "town.osm", "layer": "lines"}
    assert table_of(found, "controls") == {"source": "town.osm", "layer": "points"}
    (tmp_path / "p.toml").write_text(found.text)
    design = pipeline.check(pipeline.load_project(tmp_path / "p.toml"), lambda _: None).design
    assert {s.street_class for s in design.segments} == {"arterial", "local"}
    assert [x.control for x in design.intersections] == ["signal"]


# --- the file as a whole


def test_rules_at_the_end_are_valid_once_uncommented(tmp_path: Path) -> None:
    found = propose([streets(tmp_path, {"ID": [1, 2, 3]})], tmp_path / "p.toml")
    head, _, rules = found.text.partition("# ---- rules most often changed")
    loose = [line.removeprefix("# ") for line in rules.splitlines()[1:]]
    (tmp_path / "p.toml").write_text("\n".join([head, *loose]))
    project = pipeline.load_project(tmp_path / "p.toml")
    assert len(loose) > 10
    assert project.settings.defaults["collector"].center_line == "broken"


def test_the_file_carries_the_caution_and_its_reasons(tmp_path: Path) -> None:
    found = propose([streets(tmp_path, {"ID": [1, 2, 3]})], tmp_path / "p.toml")
    caution = found.text.split("extends")[0].replace("\n# ", " ")
    assert (
        "local codes, the road authority's traffic control plan and a licensed engineer" in caution
    )
    assert 'segment_id = "ID"  # 0.97 name and unique values fit' in found.text


def test_same_sources_give_the_same_text(tmp_path: Path) -> None:
    shutil.copy(SAMPLE / "kelpwick_streets.zip", tmp_path)
    first = propose([tmp_path], tmp_path / "p.toml").text
    assert propose([tmp_path / "kelpwick_streets.zip"], tmp_path / "p.toml").text == first
