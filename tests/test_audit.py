"""`check --layout`: our layout is clean, paint made wrong is told, other files work too."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from scenes import PLANE, SCENES, layout_of, project
from shapely import affinity
from test_properties import town
from typer.testing import CliRunner

from layoutgen.cli import app
from layoutgen.errors import ConfigError, Finding
from layoutgen.gis.roles import role
from layoutgen.markings.audit import AuditParams, Breach, all_checks, audit, checks_in_force
from layoutgen.markings.catalog import standard_rows
from layoutgen.markings.conformity import Paint, measured, measuring_to, within
from layoutgen.markings.jurisdiction import jurisdiction, jurisdictions, severity
from layoutgen.markings.paints import paints_of
from layoutgen.street.design import Design

DEMO = Path(__file__).parents[1] / "configs" / "demo.toml"
COLUMNS = [f.name for f in role("layout").fields]
Change = Callable[[gpd.GeoDataFrame, int], None]


@cache
def our_layout() -> gpd.GeoDataFrame:
    """The demo town's layout, as role `layout` reads it."""
    return as_layout(town().markings)


def as_layout(markings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return markings[[*COLUMNS, "geometry"]].set_crs(PLANE, allow_override=True)


def findings(table: gpd.GeoDataFrame, design: Design, **params: Any) -> list[Finding]:
    """All findings about a layout."""
    asked = AuditParams(**params)
    paints, told = paints_of(table, design, asked.reach_ft)
    return [*told, *audit(paints, design, asked).findings]


def along(row: Any, ahead_ft: float, right_ft: float = 0.0) -> Any:
    """Shape of a marking, moved along and across the travel that reads it."""
    b = math.radians(row["bearing_deg"])
    x = ahead_ft * math.sin(b) + right_ft * math.cos(b)
    return affinity.translate(row["geometry"], x, ahead_ft * math.cos(b) - right_ft * math.sin(b))


def squeezed(row: Any, factor: float) -> Any:
    """Shape of a marking, shorter along the travel."""
    middle = row["geometry"].centroid
    upright = affinity.rotate(row["geometry"], row["bearing_deg"], origin=middle)
    flat = affinity.scale(upright, 1.0, factor, origin=middle)
    return affinity.rotate(flat, -row["bearing_deg"], origin=middle)


def moved(ahead_ft: float, right_ft: float = 0.0) -> Change:
    return lambda table, i: put(table, i, along(table.loc[i], ahead_ft, right_ft))


def thinner(factor: float) -> Change:
    return lambda table, i: put(table, i, squeezed(table.loc[i], factor))


def painted(color: str) -> Change:
    def change(table: gpd.GeoDataFrame, i: int) -> None:
        table.loc[i, "color"] = color

    return change


def half_of_a_double_line(table: gpd.GeoDataFrame, i: int) -> None:
    put(table, i, shapely.get_parts(table.geometry[i])[0])


def turned_round(table: gpd.GeoDataFrame, i: int) -> None:
    put(table, i, affinity.rotate(table.geometry[i], 180, origin="centroid"))


def put(table: gpd.GeoDataFrame, i: int, shape: Any) -> None:
    table.loc[[i], "geometry"] = gpd.GeoSeries([shape], index=[i], crs=table.crs)


def test_our_own_layout_breaks_no_row_and_every_row_of_it_is_judged() -> None:
    table = our_layout()
    paints, told = paints_of(table, town().design, 60.0)
    result = audit(paints, town().design, AuditParams())
    assert [f.text for f in (*told, *result.findings)] == []
    assert result.judged == len(table) == len(town().markings)
    assert sum(1 for row in result.rows if row.checked) > 150


def test_every_marking_finds_its_street_place_and_leg_by_its_shape_alone() -> None:
    """Against what the engine knows of its own markings; the names are not looked at."""
    table = our_layout().assign(marking_id=None)
    paints, _ = paints_of(table, town().design, 60.0)
    known = town().markings
    # what runs through an intersection lies on several streets
    through = known["kind"].isin(["bike_extension", "dotted_extension", "keep_clear"]).to_numpy()
    found = np.array([p.segment.segment_id for p in paints if p.segment])
    assert (found == known["segment_id"].to_numpy())[~through].all()
    bars = (known["kind"].isin(["stop_line", "crosswalk"]) & (known["intersection_id"] != "")).array
    assert bars.sum() > 300
    for row, paint in zip(known[bars].to_dict("records"), np.array(paints)[bars], strict=True):
        assert paint.leg is not None
        assert paint.leg.leg_id == row["anchor"]


@pytest.mark.parametrize(
    ("kind", "style", "change", "expected"),
    [
        ("stop_line", "solid", moved(2.0), [("warning", "STOP-02")]),
        ("stop_line", "solid", thinner(0.4), [("warning", "STOP-01")]),
        ("stop_line", "solid", painted("pink"), [("error", "LINE-14"), ("warning", "STOP-01")]),
        ("crosswalk", "longitudinal_bars", thinner(0.5), [("error", "XWALK-03")]),
        ("crosswalk", "transverse_lines", painted("yellow"), [("error", "XWALK-01")]),
        ("lane_line", "broken", painted("yellow"), [("error", "LINE-16")]),
        ("center_line", "double_solid", painted("white"), [("error", "LINE-15")]),
        ("center_line", "double_solid", half_of_a_double_line, [("error", "CENTER-01")]),
        ("yield_line", "triangles", turned_round, [("error", "YIELD-07")]),
    ],
)  # fmt: skip
def test_paint_made_wrong_breaks_its_row_and_no_other(
    kind: str, style: str, change: Change, expected: Sequence[tuple[str, str]]
) -> None:
    table = our_layout().copy()
    own = (table["kind"] == kind) & (table["style"] == style)
    ids = table["marking_id"].str.split("/").str[1]
    crossed = set(ids[table["kind"] == "crosswalk"]) if kind == "stop_line" else set(ids)
    legs = own & ids.str.startswith("N0") & ids.isin(crossed) & (kind != "yield_line")
    i = int(table.index[legs if legs.any() else own][0])
    change(table, i)
    found = findings(table, town().design)
    assert [(f.severity, f.code) for f in found] == expected
    rows = standard_rows()
    for f in found:
        assert isinstance(f, Breach)
        assert f.feature_id == table.loc[i, "marking_id"]
        assert f.section == rows[f.code]["section"]
        assert all((f.measured, f.asked, f.fix))
        assert f.geometry.equals(shapely.MultiPolygon(shapely.get_parts(table.geometry[i]))) or (
            f.geometry.equals(table.geometry[i])
        )


def test_what_no_row_names_is_told_too() -> None:
    """Paint beside the road, and an arrow painted over another."""
    table = our_layout().copy()
    arrows = table.index[table["kind"] == "turn_arrow"]
    put(table, arrows[0], along(table.loc[arrows[0]], 0.0, 40.0))
    copy = table.loc[[arrows[9]]].copy()
    copy.loc[arrows[9], "marking_id"] = "twice"
    put(copy, arrows[9], along(copy.loc[arrows[9]], 1.0))
    table = gpd.GeoDataFrame(pd.concat([table, copy], ignore_index=True), crs=table.crs)
    codes = {f.code: f for f in findings(table, town().design) if f.code.startswith("paint_")}
    assert set(codes) == {"paint_off_roadway", "paint_overlap"}
    assert codes["paint_off_roadway"].feature_id == table.loc[arrows[0], "marking_id"]
    assert "twice" in codes["paint_overlap"].feature_id + codes["paint_overlap"].text
    assert codes["paint_overlap"].geometry.area > 1.0


def test_rows_that_cannot_be_judged_are_findings_and_the_sum_is_kept() -> None:
    """No shape, a point, a line without width, an unknown kind, no kind, far from every street."""
    design = layout_of(SCENES["cross"]())[1]
    far = shapely.box(9e4, 9e4, 9e4 + 10, 9e4 + 2)
    bow = shapely.Polygon([(200, 50), (212, 52), (212, 50), (200, 52)])
    shapes = [None, shapely.Point(100, 50), shapely.LineString([(0, 50), (9, 50)]), *[bow] * 3, far]
    kinds = [*["stop_line"] * 3, "sheep", None, " Stop Line ", "stop_line"]
    table = gpd.GeoDataFrame(
        {c: pd.Series([None] * len(shapes), dtype=object) for c in COLUMNS} | {"kind": kinds},
        geometry=shapes,
        crs=PLANE,
    )
    found = findings(table, design)
    told = [(f.code, f.feature_id) for f in found if f.rows]
    assert sorted(told) == [
        ("layout_kind_unknown", "row 4"),
        ("layout_no_kind", "row 5"),
        ("layout_no_paint", "row 1"),
        ("layout_no_paint", "row 2"),
        ("layout_no_street", "row 7"),
        ("layout_no_width", "row 3"),
    ]
    paints, _ = paints_of(table, design, 60.0)
    judged = audit(paints, design, AuditParams()).judged
    assert judged + sum(f.rows for f in found) == len(table)
    assert {f.feature_id for f in found if f.code == "layout_repaired"} == {
        "row 4", "row 5", "row 6",
    }  # fmt: skip


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("name", ["cross", "tee", "five_lane", "one_way"])
def test_travel_of_a_marking_that_names_none_is_that_of_its_lane(name: str, side: str) -> None:
    markings, design, _ = layout_of(SCENES[name](project={"driving_side": side}))
    known = markings[markings["kind"] == "stop_line"]
    assert len(known)
    paints, told = paints_of(as_layout(known).assign(bearing_deg=None), design, 60.0)
    assert [f.code for f in told] == ["layout_bearing_assumed"]
    for paint, bearing in zip(paints, known["bearing_deg"], strict=True):
        assert abs((paint.bearing_deg - bearing + 180.0) % 360.0 - 180.0) < 2.0


def test_a_bent_line_is_measured_along_its_bend() -> None:
    """A 6 in line on a curve of 200 ft radius; the rectangle around it is 15 ft wide."""
    t = np.linspace(0.2, 0.9, 60)
    arc = shapely.LineString(np.column_stack([200 * np.sin(t), 200 * np.cos(t)]))
    part = measured(arc.buffer(0.25, cap_style="flat"), 90.0)
    assert part.short_ft == pytest.approx(0.5, abs=0.002)
    assert part.long_ft == pytest.approx(140.0, abs=0.1)
    plain = measured(affinity.rotate(shapely.box(0, 0, 2, 10), -30, origin=(0, 0)), 0.0)
    assert (plain.long_ft, plain.short_ft) == pytest.approx((10.0, 2.0))
    assert plain.turn_deg == pytest.approx(30.0)


def test_sizes_of_many_pieces_are_those_of_an_engine_of_its_own() -> None:
    """Smallest rectangles of random outlines, against GEOS one by one."""
    rng = np.random.default_rng(4)
    for _ in range(200):
        hull = shapely.MultiPoint(rng.uniform(0, 20, (rng.integers(3, 12), 2))).convex_hull
        part = measured(hull, 0.0)
        sides = np.hypot(*np.diff(shapely.get_coordinates(shapely.oriented_envelope(hull))[:3],
                                  axis=0).T)  # fmt: skip
        # engines take the least area or the least width: neither may be larger
        assert part.long_ft * part.short_ft <= sides.prod() * (1 + 1e-9)
        assert part.across_ft == pytest.approx(np.ptp(shapely.get_coordinates(hull)[:, 0]))


def test_tolerance_holds_inside_its_block_only() -> None:
    assert not within(1.02, 0.5, 1.0)
    with measuring_to(0.03):
        assert within(1.02, 0.5, 1.0)
    assert not within(1.02, 0.5, 1.0)


def test_whose_a_row_is() -> None:
    """One row of every way in which the table says it."""
    rows = standard_rows()
    expected = {
        "LINE-01": "federal",  # MUTCD, read in a copy that California made: still federal
        "BUFFER-11": "federal",  # federal in separated lanes
        "YIELD-04": "federal",  # a figure of 2009 that still holds
        "LINE-17": "california",  # section begins with CA
        "PARK-11": "california",
        "SLM-05": "california",
        "RAIL-14": "california",
        "AREA-01": "california",  # its standard plans
        "STOP-10": "washington",
        "EDGE-07": "washington",
        "LINE-21": "missouri",
        "XWALK-31": "missouri",  # by its letters
        "TWLTL-05": "alabama",
        "CHEV-12": "alaska",
        "BIKE-27": "seattle",
        "SLM-13": "superseded",
        "LINE-22": "superseded",
        "XWALK-34": "other_states",
    }
    assert {name: jurisdiction(rows[name]) for name in expected} == expected
    assert jurisdictions()[0] == "federal"
    federal = [r for r in rows.values() if jurisdiction(r) == "federal"]
    assert not [r["id"] for r in federal if "(CA" in r["item"] or "Washington" in r["source"]]
    assert (severity(rows["XWALK-03"]), severity(rows["STOP-01"])) == ("error", "warning")
    assert severity(rows["XWALK-09"]) == "notice"


def test_rows_of_states_are_asked_only_where_they_are_wanted() -> None:
    rows = standard_rows()
    plain = {c.row for c in checks_in_force(AuditParams())}
    assert {jurisdiction(rows[row]) for row in plain} == {"federal"}
    west = {c.row for c in checks_in_force(AuditParams(jurisdictions=("federal", "california")))}
    assert {jurisdiction(rows[row]) for row in west - plain} == {"california"}
    assert plain < west
    off = {c.row for c in checks_in_force(AuditParams(rows_off=("STOP-02",)))}
    assert plain - off == {"STOP-02"}


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"jurisdictions": ["federal", "missuri"]}, "Did you mean 'missouri'"),
        ({"rows_off": ["STOP-99"]}, "audit.rows_off: 'STOP-99' is not known"),
        ({"errors": ["STOP-01"], "notices": ["STOP-01"]}, "told in two ways"),
    ],
)
def test_wrong_settings_are_refused(settings: dict[str, Any], words: str) -> None:
    with pytest.raises(ConfigError, match=words):
        project({"audit": settings})


def test_severity_is_a_setting() -> None:
    table = our_layout().copy()
    i = int(table.index[table["kind"] == "crosswalk"][0])
    put(table, i, squeezed(table.loc[i], 0.5))
    for name, told in (("warnings", "warning"), ("notices", "notice"), ("rows_off", None)):
        found = findings(table, town().design, **{name: ("XWALK-03",)})
        assert [f.severity for f in found if f.code == "XWALK-03"] == ([told] if told else [])


def test_every_check_names_a_row_and_fits_a_site_or_a_kind() -> None:
    rows = standard_rows()
    for check in all_checks():
        assert check.row in rows
        assert check.text
        assert bool(check.kinds) or bool(check.on), check.row


# ---- the command, and files of other people ---------------------------------------------------


def run(*args: object) -> Any:
    return CliRunner().invoke(app, [str(a) for a in args])


def store(table: gpd.GeoDataFrame, path: Path) -> Path:
    """The layout of the demo town as the program writes it: in the CRS of the streets."""
    from layoutgen.gis.read import read_inputs
    from layoutgen.settings import load_project

    inputs, _ = read_inputs(load_project(DEMO).settings.inputs)
    placed = table.set_crs(inputs.plane, allow_override=True).to_crs(inputs.source_crs)
    pyogrio.write_dataframe(placed, path, layer="markings")
    return path


def test_command_on_our_own_file(tmp_path: Path) -> None:
    own = store(our_layout(), tmp_path / "ours.gpkg")
    done = run("check", DEMO, "--layout", own, "-o", tmp_path / "found.gpkg")
    assert done.exit_code == 0, done.output
    count = f"{len(our_layout()):,}"
    assert f"{count} rows in ours.gpkg: {count} judged, 0 in findings; 0 errors" in done.output
    assert "licensed engineer" in done.output
    assert len(gpd.read_file(tmp_path / "found.gpkg", layer="audit")) == 0


def test_command_fails_on_errors_and_writes_findings(tmp_path: Path) -> None:
    """Exit code 1, the row in the table, and a file for the GIS and one for a desk."""
    table = our_layout().copy()
    i = int(table.index[table["kind"] == "crosswalk"][3])
    put(table, i, squeezed(table.loc[i], 0.5))
    own = store(table, tmp_path / "wrong.gpkg")
    for name in ("found.gpkg", "found.csv"):
        done = run("check", DEMO, "--layout", own, "-o", tmp_path / name)
        assert done.exit_code == 1, done.output
        assert "1 errors" in done.output
    found = gpd.read_file(tmp_path / "found.gpkg", layer="audit")
    assert found["code"].to_list() == ["XWALK-03"]
    assert found["section"].to_list() == ["3C.03 P5"]
    assert found["feature_id"].to_list() == [table.loc[i, "marking_id"]]
    stored = gpd.read_file(own)
    place = stored.geometry[stored["marking_id"] == table.loc[i, "marking_id"]].iloc[0]
    assert found.geometry[0].symmetric_difference(place).area < 1e-3 * place.area
    with (tmp_path / "found.csv").open(encoding="utf-8") as file:
        row = next(csv.DictReader(file))
    assert (row["code"], row["severity"]) == ("XWALK-03", "error")
    middle = shapely.centroid(gpd.GeoSeries([place], crs=stored.crs).to_crs(4326)[0])
    assert (float(row["lon"]), float(row["lat"])) == pytest.approx((middle.x, middle.y), abs=1e-6)


def test_command_refuses_what_it_cannot_use(tmp_path: Path) -> None:
    from layoutgen.errors import InputError, OutputError

    done = run("check", DEMO, "--layout", tmp_path / "none.gpkg")
    assert isinstance(done.exception, InputError)
    own = store(our_layout().head(3), tmp_path / "ours.gpkg")
    done = run("check", DEMO, "--layout", own, "-o", tmp_path / "x.docx")
    assert isinstance(done.exception, OutputError)
    done = run("check", DEMO, "--layout", own, "--layer", "makrings")
    assert isinstance(done.exception, InputError)
    assert "Did you mean 'markings'" in str(done.exception)


def strange_file(path: Path) -> int:
    """Another agency's layer: GeoJSON in degrees, stop lines as lines with widths in inches."""
    table = our_layout()
    rows = table[table["kind"].isin(["stop_line", "crosswalk"])].copy()
    line = (rows["kind"] == "stop_line").to_numpy()
    boxes = shapely.oriented_envelope(rows.geometry.to_numpy())
    shapes = rows.geometry.to_numpy().copy()
    shapes[line] = [middle_line(box) for box in boxes[line]]
    code = rows["kind"].map({"stop_line": "SL24", "crosswalk": "XW"})
    code[rows["style"] == "ladder"] = "XWL"
    from layoutgen.gis.read import read_inputs
    from layoutgen.settings import load_project

    plane = read_inputs(load_project(DEMO).settings.inputs)[0].plane
    out = gpd.GeoDataFrame(
        {
            "ASSET": np.arange(len(rows)) + 7000,
            "LEGEND": code.to_numpy(),
            "CLR": "WHT",
            "W_IN": np.where(line, 24.0, np.nan),
        },
        geometry=shapes,
        crs=plane,
    )
    pyogrio.write_dataframe(out.to_crs(4326), path, COORDINATE_PRECISION=9)
    return len(out)


def middle_line(box: Any) -> Any:
    """Line along the middle of a bar, over its longer side."""
    xy = shapely.get_coordinates(box)
    a, b, c, d = xy[:4]
    if np.hypot(*(b - a)) < np.hypot(*(c - b)):
        a, b, c, d = b, c, d, a
    return shapely.LineString([(a + d) / 2, (b + c) / 2])


FOREIGN = """
extends = "{demo}"
[inputs.layout.fields]
marking_id = "ASSET"
kind = "LEGEND"
color = "CLR"
width_ft = "W_IN"
style = "LEGEND"
[inputs.layout.units]
width_ft = "in"
[inputs.layout.values.kind]
"SL*" = "stop_line"
"XW*" = "crosswalk"
[inputs.layout.values.style]
"SL*" = "solid"
XWL = "ladder"
"*" = ""
[inputs.layout.values.color]
WHT = "white"
"""


def test_another_agencys_file(tmp_path: Path) -> None:
    """Made-up columns, GeoJSON in degrees, lines with widths, no travel directions."""
    rows = strange_file(tmp_path / "legends.geojson")
    text = FOREIGN.format(demo=DEMO.as_posix())
    (tmp_path / "p.toml").write_text(text + '[audit]\ntolerance = "0.2 in"\n', encoding="utf-8")
    file, out = tmp_path / "legends.geojson", tmp_path / "f.csv"
    done = run("check", tmp_path / "p.toml", "--layout", file, "-o", out)
    assert f"{rows} rows in legends.geojson: {rows} judged, 0 in findings" in done.output
    assert done.exit_code == 0, done.output
    found = pd.read_csv(out).groupby("code").size()
    assert {"layout_bearing_assumed", "layout_kinds_not_shown"} <= set(found.index)
    # it shows no arrows and no center lines, and is not blamed for them
    assert not [code for code in found.index if code.startswith(("ARROW", "CENTER", "BIKE"))]
    # unless asked
    text = (tmp_path / "p.toml").read_text(encoding="utf-8")
    (tmp_path / "p.toml").write_text(text + 'missing = "all"\n', encoding="utf-8")
    done = run("check", tmp_path / "p.toml", "--layout", file, "-o", out)
    assert done.exit_code == 1
    assert {"ARROW-01", "CENTER-02", "BIKE-01"} <= set(pd.read_csv(out)["code"])


def test_another_agencys_file_is_held_to_the_rows(tmp_path: Path) -> None:
    """The same with every stop line called 30 in wide: STOP-01 for each of them."""
    strange_file(tmp_path / "legends.geojson")
    text = (tmp_path / "legends.geojson").read_text(encoding="utf-8")
    table = json.loads(text)
    lines = [f for f in table["features"] if f["properties"]["LEGEND"] == "SL24"]
    for feature in lines:
        feature["properties"]["W_IN"] = 30.0
    (tmp_path / "legends.geojson").write_text(json.dumps(table), encoding="utf-8")
    text = FOREIGN.format(demo=DEMO.as_posix())
    (tmp_path / "p.toml").write_text(text + '[audit]\nerrors = ["STOP-01"]\n', encoding="utf-8")
    out = tmp_path / "f.csv"
    done = run("check", tmp_path / "p.toml", "--layout", tmp_path / "legends.geojson", "-o", out)
    assert done.exit_code == 1
    found = pd.read_csv(out)
    wide = found[found["code"] == "STOP-01"]
    assert len(wide) == len(lines)
    assert set(wide["measured"]) == {"30.0 in wide"}


def test_a_layout_named_in_the_project_file_is_audited_by_check_and_never_by_generate(
    tmp_path: Path,
) -> None:
    own = store(our_layout().head(40), tmp_path / "ours.gpkg")
    text = f'extends = "{DEMO.as_posix()}"\n[inputs.layout]\nsource = "{own.name}"\n'
    (tmp_path / "p.toml").write_text(text + '[project]\noutput = "new.gpkg"\n', encoding="utf-8")
    assert "40 rows in ours.gpkg" in run("check", tmp_path / "p.toml").output
    own.unlink()
    done = run("generate", tmp_path / "p.toml")
    assert done.exit_code == 0, done.output
    assert (tmp_path / "new.gpkg").is_file()


def test_paint_of_a_site_that_the_layout_does_not_cover_is_not_missed() -> None:
    """A file of one crosswalk says nothing about the other corners of the town."""
    table = our_layout()
    one = table[table["kind"] == "crosswalk"].head(1)
    paints, _ = paints_of(one, town().design, 60.0)
    result = audit(paints, town().design, AuditParams())
    place = paints[0]
    assert place.segment is not None
    for f in result.findings:
        assert f.feature_id in (place.segment.segment_id, place.marking_id) or (
            place.leg is not None and f.feature_id.startswith(place.leg.intersection_id)
        )


def test_paints_can_be_made_by_hand() -> None:
    """As tests of checks do: parts are measured when asked for."""
    paint = Paint("a", "stop_line", "solid", "white", shapely.box(0, 0, 2, 12), 90.0)
    assert (paint.parts[0].along_ft, paint.parts[0].across_ft) == pytest.approx((2.0, 12.0))
    assert paint.extent_ft == pytest.approx((2.0, 12.0))
    assert replace(paint, bearing_deg=0.0).extent_ft == pytest.approx((12.0, 2.0))
