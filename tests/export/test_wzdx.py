"""The feed of planned work zones against an own schema of WZDx 4.2 (wzdx_4.2/SOURCE.md)."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import jsonschema
import pyproj
import pytest
import shapely
from export.bid_package import feed_package
from export.sample_package import PLANE

from layoutgen.errors import ConfigError, InputError
from layoutgen.export.formats import CAUTION
from layoutgen.export.wzdx import FILE, SHORTEST_FT, direction, vehicle_impact, write
from layoutgen.work.closing import INSIDE, ONE_LEFT, WHOLE

SCHEMA = json.loads((Path(__file__).parent / "wzdx_4.2" / "work_zone_feed.json").read_text())
VALID = jsonschema.Draft7Validator(SCHEMA)
US_FOOT_M = 0.3048
#: a bend: 300 ft east, then 400 ft north
BEND = shapely.LineString([(0, 0), (300, 0), (300, 400)])
ROAD = shapely.LineString([(-900, 50), (-900, 1050)])


def streets() -> list[dict[str, Any]]:
    return [
        {"segment_id": "wren/1", "name": "Wren Street", "length_ft": 700.0, "geometry": BEND},
        {"segment_id": "toll/1", "name": "", "length_ft": 1000.0, "geometry": ROAD},
    ]


def jobs() -> list[dict[str, Any]]:
    wren = {"segment_id": "wren/1", "street": "Wren Street", "kinds": "2 stop_line"}
    return [
        {"job_id": "a", **wren, "entry_ft": 200.0, "exit_ft": 450.0, "bearing_deg": 90.0}
        | {"hold": WHOLE, "closed_ft": 24.0, "moving": 0, "cross_streets": "from Elk to Fen Road"},
        {"job_id": "b", **wren, "entry_ft": 450.0, "exit_ft": 200.0, "bearing_deg": 182.0}
        | {"hold": "", "closed_ft": 11.0, "moving": 1, "cross_streets": "from Way to Go to Fen"},
        {"job_id": "c", "segment_id": "toll/1", "entry_ft": 500.0, "exit_ft": 500.0}
        | {"hold": None, "closed_ft": 0.0, "moving": 0, "bearing_deg": None},
    ]


def visits() -> list[dict[str, Any]]:
    one, two = {"tour_id": "tour/1"}, {"tour_id": "tour/2"}
    return [
        {**two, "sequence": 1, "kind": "job", "job_id": "c", "start": "23:50", "leave": "00:20 +1"},
        {**one, "sequence": 0, "kind": "depot", "job_id": "", "start": "07:00", "leave": "07:00"},
        {**one, "sequence": 3, "kind": "job", "job_id": "b", "start": "09:00", "leave": "09:30"},
        {**one, "sequence": 1, "kind": "job", "job_id": "a", "start": "07:05", "leave": "07:45"},
        {**one, "sequence": 2, "kind": "refill", "job_id": "", "start": "08:00", "leave": "08:30"},
        {**one, "sequence": 4, "kind": "depot", "job_id": "", "start": "10:00", "leave": "10:00"},
    ]


def tours() -> list[dict[str, Any]]:
    return [{"tour_id": f"tour/{k}", "date": f"2030-05-0{5 + k}"} for k in (1, 2)]


def feed(folder: Path, *, offset: float = 0.0, **changed: Any) -> dict[str, Any]:
    given = {"streets": streets(), "jobs": jobs(), "visits": visits(), "tours": tours()}
    path = feed_package(folder, **given | changed)
    (out,) = write(path, folder, utc_offset_hours=offset, publisher="Town of Elsewhere")
    assert out.name == FILE
    got: dict[str, Any] = json.loads(out.read_text(encoding="utf-8"))
    return got


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return feed(tmp_path_factory.mktemp("feed"))


def on_plane(feature: dict[str, Any]) -> Any:
    line = shapely.LineString(feature["geometry"]["coordinates"])
    return gpd.GeoSeries([line], crs=4326).to_crs(PLANE).iloc[0]


def test_feed_keeps_to_the_schema(town: dict[str, Any]) -> None:
    jsonschema.Draft7Validator.check_schema(SCHEMA)
    VALID.validate(town)


@pytest.mark.parametrize(
    "path, value",
    [
        (("feed_info", "data_sources"), []),
        (("feed_info", "version"), "4.1"),
        (("features", 0, "properties", "core_details", "road_names"), []),
        (("features", 0, "properties", "core_details", "event_type"), "painting"),
        (("features", 0, "properties", "types_of_work", 0, "type_name"), "striping"),
        (("features", 0, "properties", "start_date"), "2030-05-06T07:05:00"),
        (("features", 0, "properties", "vehicle_impact"), "lane closed"),
        (("features", 0, "properties", "work_zone_type"), "mobile"),
        (("features", 0, "geometry", "coordinates"), [[-71.1, 42.3]]),
        (("features", 0, "geometry", "coordinates", 0), [-71.1, 142.3]),
    ],
)
def test_schema_finds_faults(town: dict[str, Any], path: tuple[Any, ...], value: Any) -> None:
    broken = copy.deepcopy(town)
    spot = broken
    for key in path[:-1]:
        spot = spot[key]
    spot[path[-1]] = value
    assert not VALID.is_valid(broken)


def test_one_zone_per_visit_to_a_job(town: dict[str, Any]) -> None:
    """In the order of tours and visits; depots and refills are none."""
    names = [f["properties"]["core_details"]["name"] for f in town["features"]]
    assert names == ["tour/1, a", "tour/1, b", "tour/2, c"]


def test_lines_run_along_the_street_as_travelled(town: dict[str, Any]) -> None:
    """0.05 ft: places are rounded to 0.44 in."""
    there, back, _ = (on_plane(f) for f in town["features"])
    wanted = shapely.LineString([(200, 0), (300, 0), (300, 150)])
    assert shapely.hausdorff_distance(there, wanted) < 0.05
    assert there.coords[0] == pytest.approx((200, 0), abs=0.05)
    assert list(back.coords) == list(there.coords)[::-1]


def test_lengths_on_the_ellipsoid(town: dict[str, Any]) -> None:
    """By the geodesic, so that a wrong unit of the package would be seen."""
    globe = pyproj.Geod(ellps="WGS84")
    lines = [shapely.LineString(f["geometry"]["coordinates"]) for f in town["features"]]
    feet = [globe.geometry_length(line) / US_FOOT_M for line in lines]
    assert feet == pytest.approx([250, 250, SHORTEST_FT], abs=0.1)


def test_a_job_at_one_station_gets_a_short_line(town: dict[str, Any]) -> None:
    line = on_plane(town["features"][2])
    assert line.centroid.coords[0] == pytest.approx((-900, 550), abs=0.05)


def times(got: dict[str, Any]) -> list[tuple[str, str]]:
    return [(f["properties"]["start_date"], f["properties"]["end_date"]) for f in got["features"]]


def test_times_without_an_offset(town: dict[str, Any]) -> None:
    assert times(town) == [
        ("2030-05-06T07:05:00Z", "2030-05-06T07:45:00Z"),
        ("2030-05-06T09:00:00Z", "2030-05-06T09:30:00Z"),
        ("2030-05-07T23:50:00Z", "2030-05-08T00:20:00Z"),
    ]


def test_times_behind_utc(tmp_path: Path) -> None:
    """Eastern Standard Time is five hours behind UTC; India's clocks have half an hour."""
    assert times(feed(tmp_path, offset=-5.0))[2] == ("2030-05-08T04:50:00Z", "2030-05-08T05:20:00Z")
    assert times(feed(tmp_path, offset=5.5))[0][0] == "2030-05-06T01:35:00Z"


@pytest.mark.parametrize("offset", [-13.0, 15.0, float("nan")])
def test_no_offset(tmp_path: Path, offset: float) -> None:
    with pytest.raises(ConfigError, match="utc_offset_hours"):
        feed(tmp_path, offset=offset)


def test_ids_are_stable_and_differ(town: dict[str, Any], tmp_path: Path) -> None:
    """A job moved to another day and tour stays the same work zone."""
    moved = [{**visit, "tour_id": "tour/2"} for visit in visits()]
    again = feed(tmp_path, visits=moved)
    ids = {f["id"] for f in town["features"]}
    assert len(ids) == 3
    assert {f["id"] for f in again["features"]} == ids


def test_ids_of_two_visits_to_one_job_differ(tmp_path: Path) -> None:
    twice = [*visits(), {**visits()[2], "sequence": 9, "start": "09:40", "leave": "09:50"}]
    features = feed(tmp_path, visits=twice)["features"]
    assert len({f["id"] for f in features}) == 4


def test_what_traffic_meets(town: dict[str, Any]) -> None:
    kinds = ["vehicle_impact", "work_zone_type", "event_status", "location_method"]
    got = [tuple(f["properties"][kind] for kind in kinds) for f in town["features"]]
    assert got == [
        ("all-lanes-closed", "static", "planned", "other"),
        ("some-lanes-closed", "planned-moving-area", "planned", "other"),
        ("all-lanes-open", "static", "planned", "other"),
    ]
    assert all(
        f["properties"]["types_of_work"] == [{"type_name": "painting"}] for f in town["features"]
    )
    assert not any("lanes" in f["properties"] for f in town["features"])


@pytest.mark.parametrize(
    "hold, closed_ft, impact",
    [
        (ONE_LEFT, 11.0, "alternating-one-way"),
        (f"{ONE_LEFT}; {WHOLE}", 11.0, "all-lanes-closed"),
        (INSIDE, 0.0, "flagging"),
        ("", None, "unknown"),
    ],
)
def test_vehicle_impact(hold: str, closed_ft: float | None, impact: str) -> None:
    assert vehicle_impact(hold, closed_ft) == impact


@pytest.mark.parametrize(
    "bearing, name",
    [
        *((0, "northbound"), (359, "northbound"), (44.9, "northbound"), (45, "eastbound")),
        *((180, "southbound"), (225, "westbound"), (314.9, "westbound"), (None, "unknown")),
    ],
)
def test_direction(bearing: float | None, name: str) -> None:
    assert direction(bearing) == name


def test_names_of_streets(town: dict[str, Any]) -> None:
    features = [f["properties"] for f in town["features"]]
    assert [f["core_details"]["road_names"] for f in features] == [
        ["Wren Street"],
        ["Wren Street"],
        ["unnamed street"],
    ]
    assert features[0]["beginning_cross_street"] == "Elk"
    assert features[0]["ending_cross_street"] == "Fen Road"
    # which "to" parts the two names is not known
    assert "beginning_cross_street" not in features[1]


def test_caution_and_source_of_every_event(town: dict[str, Any]) -> None:
    (source,) = town["feed_info"]["data_sources"]
    assert town["feed_info"]["update_date"] == "2030-05-01T10:20:30Z"
    assert CAUTION in town["description"]
    for feature in town["features"]:
        core = feature["properties"]["core_details"]
        assert core["data_source_id"] == source["data_source_id"]
        assert CAUTION in core["description"]


def test_numbered_days_are_no_dates(tmp_path: Path) -> None:
    numbered = [{**tour, "date": f"day {k:02d}"} for k, tour in enumerate(tours(), start=1)]
    with pytest.raises(ConfigError, match=r"'day 01'.*tours\.start_date"):
        feed(tmp_path, tours=numbered)
    assert not (tmp_path / FILE).exists()


@pytest.mark.parametrize(
    "layer, change, text",
    [
        ("visits", {"job_id": "zz"}, "names job_id 'zz'"),
        ("visits", {"tour_id": "zz"}, "names tour_id 'zz'"),
        ("visits", {"start": "noon"}, "'noon' as start"),
        ("jobs", {"segment_id": "zz"}, "names segment_id 'zz'"),
        ("jobs", {"entry_ft": 800.0, "exit_ft": 900.0}, "'a' lies from 800 to 900 ft"),
        ("jobs", {"entry_ft": None}, "'a' lies from nan"),
    ],
)
def test_layers_that_do_not_fit(tmp_path: Path, layer: str, change: Any, text: str) -> None:
    rows = {"visits": visits(), "jobs": jobs()}[layer]
    with pytest.raises(InputError, match=text):
        feed(tmp_path, **{layer: [{**rows[0], **change}, *rows[1:]]})


def test_no_visits_no_zones(tmp_path: Path) -> None:
    got = feed(tmp_path, visits=[], jobs=[], tours=[])
    VALID.validate(got)
    assert got["features"] == []
