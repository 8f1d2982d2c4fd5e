"""The whole demo through the real command: layers, counts, sums, accounting, repeatability."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import fiona
import geopandas as gpd
import make_docs
import pyogrio
import pytest
import shapely

from layoutgen import pipeline
from layoutgen.gis.schema import LAYERS

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo, generated, routed and exported."""
    folder = tmp_path_factory.mktemp("demo")
    project = make_docs.demo_into(folder)
    fewer = project.settings.tours.model_copy(update={"iterations": 200})
    settings = project.settings.model_copy(update={"tours": fewer})
    project = pipeline.Project(project.path, settings, project.rules, project.settings_hash)
    layout = pipeline.generate(project, lambda _: None)
    pipeline.route(project, layout, lambda _: None)
    pipeline.export(project, pipeline.EXPORTS, None)
    return project.output


def read(package: Path, layer: str) -> gpd.GeoDataFrame:
    return pyogrio.read_dataframe(package, layer=layer)


def test_all_layers_are_there_with_their_columns(package: Path) -> None:
    shown = [layer for layer in LAYERS if layer.stage != "record"]
    assert set(fiona.listlayers(package)) >= {layer.name for layer in shown}
    for layer in shown:
        names = [c.name for c in layer.columns]
        assert list(pyogrio.read_info(package, layer=layer.name)["fields"]) == names


def test_counts_by_kind(package: Path) -> None:
    """Totals of the demo town; a change here is a change of the product, to be looked at."""
    markings = read(package, "markings")
    counts = markings.groupby("kind").size().to_dict()
    assert counts == {
        "accessible_stall": 6,
        "bike_box": 6,
        "bike_detector": 2,
        "bike_extension": 36,
        "bike_green": 16,
        "bike_lane": 600,
        "buffer": 8,
        "center_line": 130,
        "channelizing_line": 4,
        "chevrons": 2,
        "crosswalk": 153,
        "curb_zone": 8,
        "dotted_extension": 6,
        "edge_line": 20,
        "entry_line": 4,
        "flush_median": 3,
        "keep_clear": 1,
        "lane_line": 113,
        "lane_reduction": 4,
        "parking_stall": 55,
        "preferential_lane": 11,
        "rail_crossing": 4,
        "red_lane": 2,
        "ring_edge": 2,
        "shared_lane": 4,
        "speed_hump": 6,
        "stop_line": 250,
        "symbol": 1,
        "turn_arrow": 58,
        "turn_box": 12,
        "turn_lane_arrow": 54,
        "word": 91,
        "wrong_way_arrow": 2,
        "yield_ahead": 4,
        "yield_line": 6,
    }
    assert markings["marking_id"].is_unique


def test_every_crossing_feature_of_the_town_is_used(package: Path) -> None:
    """What sample_gis/README.md says is there: signals, all-way stops, schools, roundabout."""
    intersections = read(package, "intersections")
    assert (intersections["control"] == "signal").sum() == 14
    assert (intersections["control"] == "all_way_stop").sum() == 9
    assert (intersections["legs"] == 5).sum() >= 2
    styles = set(read(package, "markings")["style"])
    assert {"ladder", "longitudinal_bars", "transverse_lines", "two_way_left_turn"} <= styles
    assert {"SCHOOL", "SCHOOL two-lane", "ONLY"} <= styles


def test_rows_in_are_rows_used_plus_rows_reported(package: Path) -> None:
    info = read(package, "run_info").iloc[0]
    findings = read(package, "findings")
    for role, count in json.loads(info["inputs"]).items():
        reported = findings.loc[findings["source"] == role, "rows"].sum()
        assert count["reported"] == reported
        assert count["rows"] == count["used"] + count["reported"]
    streets = read(package, "streets")
    used = {s for ids in streets["source_ids"] for s in ids.split(", ")}
    # two rows share id 2101, so there is one id fewer than rows used
    assert len(used) == json.loads(info["inputs"])["streets"]["used"] - 1


def test_every_planted_fault_is_found(package: Path) -> None:
    findings = read(package, "findings")
    expected = {
        "multipart": "2236",
        "zero_length": "2901",
        "duplicate_line": "2171",
        "duplicate_id": "2101",
        "null_geometry": "2902",
        "snapped_end": "2074",
        "split_at_touch": "2250",
        "repeated_vertex": "2123",
        "closed_street": "2281",
        "control_far": "TC-1253",
        "control_unusable": "TC-1001",
    }
    for code, feature in expected.items():
        rows = findings[findings["code"] == code]
        assert feature in set(rows["feature_id"]), code
        assert rows["text"].str.len().min() > 10
    assert "missing_id" in set(findings["code"])


def test_sums_agree_between_layers(package: Path) -> None:
    markings, quantities = read(package, "markings"), read(package, "quantities")
    jobs, tours = read(package, "jobs"), read(package, "tours")
    area = markings["area_sqft"].sum()
    assert quantities["area_sqft"].sum() == pytest.approx(area, rel=1e-6)
    assert jobs["area_sqft"].sum() == pytest.approx(area, rel=1e-6)
    for color in ("white", "yellow", "green"):
        own = quantities.loc[quantities["color"] == color, "paint_gal"].sum()
        assert jobs[f"{color}_gal"].sum() == pytest.approx(own, rel=1e-9)
        served = jobs.loc[jobs["tour_id"] != "", f"{color}_gal"].sum()
        assert tours[f"{color}_gal"].sum() == pytest.approx(served, rel=1e-9)
    # 231 cubic inches a gallon at 15 mil: OP-001, OP-005
    gallons = markings["area_sqft"].sum() * 144 * 0.015 / 231
    assert quantities["paint_gal"].sum() == pytest.approx(gallons, rel=1e-4)


def test_area_in_the_file_is_the_area_on_the_ground(package: Path) -> None:
    """Areas of the polygons in the output's own survey feet, against the area column."""
    markings = read(package, "markings").to_crs(markings_plane(package))
    got = shapely.area(markings.geometry.to_numpy())
    assert got == pytest.approx(markings["area_sqft"].to_numpy(), rel=1e-6)


def markings_plane(package: Path) -> str:
    lon, lat = read(package, "streets").to_crs(4326).union_all().centroid.coords[0]
    return f"+proj=laea +lat_0={lat} +lon_0={lon} +datum=WGS84 +to_meter=0.3048"


def test_every_job_is_served_once_or_told_why(package: Path) -> None:
    jobs, visits, unserved = (read(package, n) for n in ("jobs", "visits", "unserved"))
    served = visits.loc[visits["kind"] == "job", "job_id"]
    assert served.is_unique
    assert set(served) | set(unserved["job_id"]) == set(jobs["job_id"])
    assert not set(served) & set(unserved["job_id"])
    ids = [i for text in jobs["markings"] for i in text.split(", ")]
    # a crosswalk over both directions is painted from each of them
    assert set(ids) == set(read(package, "markings")["marking_id"])


def test_exports_are_there(package: Path) -> None:
    names = {p.suffix for p in package.with_suffix("").iterdir()}
    assert {".gpx", ".geojson", ".csv", ".kml"} <= names


def test_two_runs_write_the_same_layout(package: Path, tmp_path: Path) -> None:
    project = make_docs.demo_into(tmp_path)
    pipeline.generate(project, lambda _: None)
    for layer in ("streets", "intersections", "approaches", "markings", "quantities"):
        assert rows_of(project.output, layer) == rows_of(package, layer), layer


def rows_of(package: Path, layer: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(f"file:{package}?mode=ro", uri=True) as base:
        return base.execute(f"SELECT * FROM {layer}").fetchall()


def test_papers_of_a_shift_agree_with_their_layers(package: Path) -> None:
    """Load sheet, jobs, sections, quantities and tours, all as written to the file."""
    sections, jobs = read(package, "sections"), read(package, "jobs")
    loads, tours, quantities = (read(package, n) for n in ("loads", "tours", "quantities"))
    every = round(float(sections["paint_gal"].sum()), 4)
    assert round(float(quantities["paint_gal"].sum()), 4) == every
    colors = ["white_gal", "yellow_gal", "green_gal", "other_gal"]
    assert round(float(jobs[colors].to_numpy().sum()), 4) == every
    paint = loads[loads["item"] == "paint"]
    served = jobs[jobs["tour_id"] != ""]
    assert round(float(paint["amount"].sum()), 4) == round(float(served[colors].sum().sum()), 4)
    by_tour = paint.groupby("tour_id")["amount"].sum().round(4)
    assert by_tour.to_dict() == tours.set_index("tour_id")[colors].sum(axis=1).round(4).to_dict()
    cost = round(float(sections["cost"].sum()), 4)
    assert cost == round(float(quantities["cost"].sum()), 4) == round(float(jobs["cost"].sum()), 4)


def test_recorded_work_is_gone_from_the_next_route(package: Path, tmp_path: Path) -> None:
    """Half a shift and half of the next visit: done work is gone, ids are as they were."""
    project = project_at(package, tmp_path)
    sections, visits = read(package, "sections"), read(package, "visits")
    first = visits[(visits["tour_id"] == visits["tour_id"].iloc[0]) & (visits["kind"] == "job")]
    ids = first["job_id"].tolist()
    done = set(ids[: len(ids) // 2])
    half = next(j for j in ids[len(ids) // 2 :] if (sections["job_id"] == j).sum() > 3)
    part = sections[sections["job_id"] == half].sort_values("sequence")
    painted = [*sections.loc[sections["job_id"].isin(done), "section_id"], *part["section_id"][:2]]
    log = tmp_path / "log.csv"
    log.write_text("section_id,result\n" + "".join(f"{one},painted\n" for one in painted))
    recorded = pipeline.record(project, log)
    assert recorded.entered == len(painted)
    assert list(recorded.findings) == []
    assert len(read(project.output, "visits")) == len(visits)  # the plan stands until a new route
    pipeline.route_again(project, lambda _: None)
    now, jobs = read(project.output, "sections"), read(project.output, "jobs")
    assert set(jobs["job_id"]) == set(read(package, "jobs")["job_id"]) - done
    assert set(now["section_id"]) == set(sections["section_id"])
    left = now[now["job_id"] == half]["section_id"]
    assert set(left) == set(part["section_id"]) - set(painted)
    assert set(now.loc[now["status"] == "painted", "section_id"]) == set(painted)
    assert (now.loc[now["status"] == "painted", "job_id"].fillna("") == "").all()
    assert len(read(project.output, "records")) == len(painted)


def project_at(package: Path, folder: Path) -> pipeline.Project:
    """The demo project on a copy of the package, with few steps of search."""
    project = make_docs.demo_into(folder)
    shutil.copy(package, project.output)
    fewer = project.settings.tours.model_copy(update={"iterations": 60})
    settings = project.settings.model_copy(update={"tours": fewer})
    return pipeline.Project(project.path, settings, project.rules, project.settings_hash)
