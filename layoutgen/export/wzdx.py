"""Work Zone Data Exchange 4.2: one planned work zone per visit to a job, as GeoJSON.

Names and enumerations follow the standard's public text (objects WorkZoneRoadEvent,
RoadEventCoreDetails, FeedInfo; release notes of 4.2). What a plan cannot know is left out:
lanes, speeds, presence of workers, mileposts; nothing is called verified.

Clock times of tours are local and the package names no time zone, while the standard wants UTC.
`utc_offset_hours` is what local clocks are ahead of UTC (-5 in Eastern Standard Time, -4 in
summer); without it clocks are taken for UTC. It is one offset for the whole feed: where clocks
change between its tours, export each part with its own.
"""

from __future__ import annotations

import datetime
import json
import re
import uuid
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from layoutgen.errors import ConfigError, InputError
from layoutgen.export.formats import CAUTION, DECIMALS, plain, rows_of, write_texts
from layoutgen.gis.plane import WGS84, center_of, working_plane
from layoutgen.gis.schema import layer
from layoutgen.gis.write import has_layer, read_layer
from layoutgen.work.closing import ONE_LEFT, WHOLE

FILE = "wzdx_work_zones.geojson"
VERSION = "4.2"
#: of identifiers: the same job of the same publisher keeps its own from run to run
_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, "layoutgen:wzdx")
#: shortest line of a work zone (from memory: about the length of a truck)
SHORTEST_FT = 30.0
#: quadrant of the heading; how a signed route runs is not known to a street plan
_DIRECTIONS = ("northbound", "eastbound", "southbound", "westbound")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?: \+(\d+))?")
_FROM_TO = re.compile(r"from (.+) to (.+)")

Row = dict[str, Any]


def write(
    package: Path,
    folder: Path,
    *,
    utc_offset_hours: float = 0.0,
    publisher: str = "publisher not named",
) -> list[Path]:
    """Write the feed of planned work zones.

    Args:
        package: with routed tours that have dates.
        folder: made if missing.
        utc_offset_hours: of local clocks ahead of UTC, -12 to 14; 0 = clocks taken for UTC.
        publisher: organization that answers for the feed.

    Raises:
        ConfigError: tours have day numbers in place of dates, or the offset is none.
        InputError: the package has no tours, or its layers do not fit each other.
        OutputError: the folder cannot be written.
    """
    if not -12.0 <= utc_offset_hours <= 14.0:
        raise ConfigError(
            f"utc_offset_hours: {utc_offset_hours} is no offset from UTC; give -12 to 14."
        )
    visits = _visits(package, utc_offset_hours)
    source = str(uuid.uuid5(_SPACE, publisher))
    updated = _updated(package)
    features = [_feature(visit, source, updated) for visit in visits]
    head = {
        "feed_info": _feed_info(publisher, source, updated),
        "type": "FeatureCollection",
        # a foreign member (RFC 7946, 6.1)
        "description": _told(utc_offset_hours),
    }
    return write_texts(folder, {FILE: _lines(head, features)})


def _lines(head: Row, features: list[Row]) -> Iterator[str]:
    """The collection, one feature a line."""
    yield _json(head)[:-1] + ',\n"features": [\n'
    yield ",\n".join(map(_json, features))
    yield "\n]}\n"


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _told(utc_offset_hours: float) -> str:
    return (
        f"Planned work zones of street marking. {CAUTION} Local clocks are taken to be "
        f"{utc_offset_hours:+g} h from UTC."
    )


def _feed_info(publisher: str, source: str, updated: str) -> Row:
    return {
        "publisher": publisher,
        "version": VERSION,
        "update_date": updated,
        "data_sources": [
            {"data_source_id": source, "organization_name": publisher, "update_date": updated}
        ],
    }


def _updated(package: Path) -> str:
    """When the layout was made; the time of this export where the package does not tell."""
    started = _column(package, "run_info", "started") if has_layer(package, "run_info") else []
    try:
        made = datetime.datetime.fromisoformat(str(started[0]))
    except (IndexError, ValueError):
        made = datetime.datetime.now(datetime.UTC)
    return _utc(made if made.tzinfo else made.replace(tzinfo=datetime.UTC))


def _utc(when: datetime.datetime) -> str:
    return when.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _visits(package: Path, offset_hours: float) -> list[Row]:
    """Visits to jobs by tour and sequence, each with its job, times, line and number of its job."""
    tours = {row["tour_id"]: row for row in _rows(package, "tours")}
    zone = datetime.timezone(datetime.timedelta(hours=offset_hours))
    days = {key: _day(package, row, zone) for key, row in tours.items()}
    jobs = {row["job_id"]: row for row in _rows(package, "jobs")}
    visits = [row for row in _rows(package, "visits") if row["kind"] == "job"]
    visits.sort(key=lambda row: (plain(row["tour_id"]), row["sequence"] or 0))
    lines = _lines_of(package, [_found(jobs, row, "job_id", package) for row in visits])
    seen: Counter[str] = Counter()
    for visit, line in zip(visits, lines, strict=True):
        seen[visit["job_id"]] += 1
        day = _found(days, visit, "tour_id", package)
        times = [_time(package, visit, day, name) for name in ("start", "leave")]
        visit |= {"job": jobs[visit["job_id"]], "line": line, "time": seen[visit["job_id"]]}
        visit |= {"from": times[0], "until": times[1]}
    return visits


def _found(table: Mapping[Any, Any], row: Row, key: str, package: Path) -> Any:
    """The row that another one names."""
    try:
        return table[row[key]]
    except KeyError:
        raise InputError(
            f"{package}: a row of `visits` or `jobs` names {key} {row[key]!r}, which has no row. "
            "Run `layoutgen route` again."
        ) from None


def _day(package: Path, tour: Row, zone: datetime.tzinfo) -> datetime.datetime:
    """Midnight at the begin of a tour's day."""
    try:
        date = datetime.date.fromisoformat(plain(tour["date"]))
    except ValueError:
        raise ConfigError(
            f"{package}: tour {tour['tour_id']!r} has {tour['date']!r} in place of a date, and a "
            "work zone needs one. Set tours.start_date and run `layoutgen route` again."
        ) from None
    return datetime.datetime.combine(date, datetime.time(), zone)


def _time(package: Path, visit: Row, day: datetime.datetime, name: str) -> datetime.datetime:
    """Time of a clock text such as "07:05", or "00:40 +1" on the next day."""
    found = _CLOCK.fullmatch(plain(visit[name]).strip())
    if found is None:
        raise InputError(
            f"{package}: `visits` has {visit[name]!r} as {name} at job {visit['job_id']!r}; a "
            'clock time such as "07:05" is needed. Run `layoutgen route` again.'
        )
    hours, minutes, days = (int(text or 0) for text in found.groups())
    return day + datetime.timedelta(days=days, hours=hours, minutes=minutes)


def _lines_of(package: Path, jobs: list[Row]) -> list[Any]:
    """The axis from where each job is entered to where it is left, in degrees."""
    streets: Any = read_layer(package, "streets")
    if not jobs:
        return []
    plane = working_plane(*center_of(streets))
    axes = dict(zip(streets["segment_id"], streets.geometry.to_crs(plane), strict=True))
    lengths = dict(zip(streets["segment_id"], streets["length_ft"], strict=True))
    parts = [
        _part(_found(axes, job, "segment_id", package), lengths[job["segment_id"]], job)
        for job in jobs
    ]
    shapes = gpd.GeoSeries(parts, crs=plane).to_crs(WGS84).to_numpy()
    rounded = shapely.transform(shapes, lambda xy: np.round(xy, DECIMALS))
    return list(rounded)


def _part(axis: Any, length_ft: float, job: Row) -> Any:
    """The piece of an axis along travel, drawn out to `SHORTEST_FT` where the street is that long.

    Stations are shares of the written length, because another plane stretches lengths a little.

    Raises:
        InputError: the job has no place on its street.
    """
    known = length_ft if length_ft and np.isfinite(length_ft) else axis.length
    ends = np.array([job["entry_ft"], job["exit_ft"]], dtype=float)
    way = 1.0 if ends[1] >= ends[0] else -1.0
    more = max(SHORTEST_FT - abs(ends[1] - ends[0]), 0.0) / 2.0
    shares = np.clip((ends + np.array([-way, way]) * more) / known, 0.0, 1.0)
    if not abs(shares[1] - shares[0]) > 0.0:
        raise InputError(
            f"layer `jobs`: {job['job_id']!r} lies from {ends[0]:g} to {ends[1]:g} ft along a "
            f"street of {known:g} ft. Run `layoutgen route` again."
        )
    return substring(axis, *shares, normalized=True)


def _feature(visit: Row, source: str, updated: str) -> Row:
    job = visit["job"]
    name = "/".join([source, plain(visit["job_id"]), str(visit["time"])])
    return {
        "id": str(uuid.uuid5(_SPACE, name)),
        "type": "Feature",
        "properties": {
            "core_details": _core(visit, source, updated),
            **_cross_streets(job),
            "start_date": _utc(visit["from"]),
            "end_date": _utc(visit["until"]),
            "is_start_date_verified": False,
            "is_end_date_verified": False,
            "is_start_position_verified": False,
            "is_end_position_verified": False,
            # given up by 4.2 in favor of the flags, still allowed, and what readers know
            "event_status": "planned",
            # neither cones nor signs nor junctions: where the truck works
            "location_method": "other",
            "vehicle_impact": vehicle_impact(plain(job["hold"]), job["closed_ft"]),
            "work_zone_type": "planned-moving-area" if job["moving"] else "static",
            "types_of_work": [{"type_name": "painting"}],
        },
        "geometry": {
            "type": "LineString",
            "coordinates": shapely.get_coordinates(visit["line"]).tolist(),
        },
    }


def _core(visit: Row, source: str, updated: str) -> Row:
    job = visit["job"]
    what = f"Street marking, {plain(job['kinds'])}" if job["kinds"] else "Street marking"
    hold = f" {plain(job['hold'])}." if job["hold"] else ""
    return {
        "event_type": "work-zone",
        "data_source_id": source,
        "road_names": [plain(job["street"]).strip() or "unnamed street"],
        "direction": direction(job["bearing_deg"]),
        "name": f"{plain(visit['tour_id'])}, {plain(visit['job_id'])}",
        "description": f"{what}.{hold} {CAUTION}",
        "update_date": updated,
    }


def direction(bearing_deg: float | None) -> str:
    """Quadrant of a heading, 45 degrees either side; "unknown" without one."""
    if bearing_deg is None:
        return "unknown"
    return _DIRECTIONS[int((bearing_deg + 45.0) % 360.0 // 90.0)]


def vehicle_impact(hold: str, closed_ft: float | None) -> str:
    """What traffic meets, from the reason to hold it and the width taken from it.

    A plan does not know how the traffic control plan will do it: traffic that is held for any
    reason but the two that `work.stands` gives for lanes meets a flagger.
    """
    if WHOLE in hold:
        return "all-lanes-closed"
    if ONE_LEFT in hold:
        return "alternating-one-way"
    if hold:
        return "flagging"
    if closed_ft is None:
        return "unknown"
    return "some-lanes-closed" if closed_ft > 0 else "all-lanes-open"


def _cross_streets(job: Row) -> Row:
    """Beginning and ending cross street of "from A to B"; none where names hold " to " too."""
    text = plain(job["cross_streets"]).strip()
    found = _FROM_TO.fullmatch(text)
    if found is None or text.count(" to ") > 1:
        return {}
    return {"beginning_cross_street": found[1], "ending_cross_street": found[2]}


def _rows(package: Path, name: str) -> list[Row]:
    names = [column.name for column in layer(name).columns]
    table: pd.DataFrame = read_layer(package, name)
    return [dict(zip(names, row, strict=True)) for row in rows_of(table, names)]


def _column(package: Path, name: str, column: str) -> list[Any]:
    return [row[0] for row in rows_of(read_layer(package, name), [column])]
