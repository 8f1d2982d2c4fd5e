"""A small routed package: one shift with a crosswalk, a green box with a bicycle, and lane dashes.

Invented streets on their own working plane. Larkspur Avenue runs one way east with four lanes,
Tern Street crosses it at (420, 0); its line is written northward, the truck paints southbound.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj
import shapely
from shapely import affinity

from layoutgen.gis.plane import working_plane
from layoutgen.gis.schema import layer
from layoutgen.gis.write import write_package
from layoutgen.markings.symbols.catalog import figure

PLANE = working_plane(-71.1063, 42.3741)
STATE_FEET = pyproj.CRS.from_epsg(2249)
#: sq ft that a gallon covers at 15 mil, OP-002
SQFT_PER_GAL = 106.9
LINES = {
    "lark/1": ("Larkspur Avenue", [(0, 0), (420, 0)], "forward", 24.0),
    "lark/2": ("Larkspur Avenue", [(420, 0), (700, 20), (980, 90)], "forward", 24.0),
    "tern/1": ("Tern Street", [(420, -360), (420, 0)], "both", 19.0),
    "tern/2": ("Tern Street", [(420, 0), (420, 340)], "both", 19.0),
    "quarry/1": ("Quarry Road", [(0, -320), (0, 0)], "both", 15.0),
    "quarry/2": ("Quarry Road", [(0, 0), (0, 320)], "both", 15.0),
    "mill/1": ("Old Mill Lane", [(420, 340), (980, 90)], "both", 14.0),
    "mill/2": ("Old Mill Lane", [(0, 320), (420, 340)], "both", 14.0),
}
TOUR = "2031-05-06 truck 1"
CROSSWALK, BOX, DASHES = "job/lark/1/F/x", "job/tern/2/B/g", "job/lark/2/F/d"


def crew_package(folder: Path) -> Path:
    """The package, in State Plane feet."""
    path = folder / "crew.gpkg"
    write_package(path, {"streets": _streets(), "approaches": _approaches()}, crs=STATE_FEET)
    write_package(path, _routed(), crs=STATE_FEET, keep=path)
    return path


def sections() -> list[dict[str, Any]]:
    """Rows of layer `sections` with their shape, in feet on `PLANE`."""
    rows = [*_crosswalk(), *_green_box(), *_dashes()]
    for row in rows:
        shape = row["geometry"]
        area = round(shape.area, 4)
        row |= {"area_sqft": area, "paint_gal": round(area / SQFT_PER_GAL, 4)}
        row["beads_lb"] = 0.0 if row["color"] == "green" else round(6.0 * row["paint_gal"], 4)
        row |= {"primer_gal": 0.0, "weight_lb": 0.0, "cost": round(0.3 * area, 2)}
    return rows


def total(rows: Sequence[Mapping[str, Any]], column: str, **where: str) -> float:
    """Sum of a column over the rows with these values."""
    chosen = [r for r in rows if all(r[key] == value for key, value in where.items())]
    return float(sum(r[column] or 0.0 for r in chosen))


def _crosswalk() -> list[dict[str, Any]]:
    """Bars 2 ft by 10 ft in four lanes of 12 ft, then the stop line in four pieces; eastbound."""
    out = []
    for lane in range(4):
        left = -24.0 + 12.0 * lane
        bars = [_along(384.0, 394.0, left + x, left + x + 2.0) for x in (1.0, 5.0, 9.0)]
        out.append(
            _row("crosswalk/1", lane + 1, 4, _many(bars), (384.0, 394.0, left + 1, left + 11))
        )
    for lane in range(4):
        left = -24.0 + 12.0 * lane
        box = (378.0, 380.0, left, left + 12.0)
        out.append(_row("stop_line/1", lane + 1, 4, _along(*box), box))
    for k, row in enumerate(out):
        row |= {
            "job_id": CROSSWALK, "sequence": k + 1, "lane": f"lane {k % 4 + 1} of 4",
            "street": "Larkspur Avenue", "bearing_deg": 90.0, "start_min": 6.0 + 3.0 * k,
            "wait_min": 0.0, "action": "repaint",
        }  # fmt: skip
    return out


def _green_box() -> list[dict[str, Any]]:
    """A green box in two pieces, the bicycle over it once it is dry; southbound on Tern Street."""
    out = []
    for number, (low, high) in enumerate([(31.0, 38.0), (38.0, 45.0)], start=1):
        box = (low, high, -15.0, -1.0)
        out.append(_row("bike_green/7", number, 2, _north(*box), box))
    bike = affinity.rotate(figure("bike_symbol").polygon, 180.0, origin=(0.0, 0.0))
    bike = affinity.translate(bike, 420.0 - 8.0, 41.0)
    out.append(_row("legend/3", 1, 1, bike, (35.0, 41.0, -9.7, -6.3)))
    stop = (46.0, 48.0, -15.0, -1.0)
    out.append(_row("stop_line/2", 1, 1, _north(*stop), stop))
    for k, row in enumerate(out):
        green = row["kind"] == "bike_green"
        row |= {
            "job_id": BOX, "sequence": k + 1, "lane": "the lane", "street": "Tern Street",
            "bearing_deg": 180.0, "start_min": 6.0 + 4.0 * k + (20.0 if k > 1 else 0.0),
            "wait_min": 20.0 if k == 2 else 0.0, "color": "green" if green else "white",
            "coat": 2 if k == 2 else 1, "over_id": "bike_green/7" if k == 2 else "",
            "material": "green waterborne" if green else "waterborne paint",
            "hold": "one lane left for both directions: hold traffic, let it take turns",
        }  # fmt: skip
    return out


def _dashes() -> list[dict[str, Any]]:
    """Forty dashes would be one row each; here thirty-five, along the bend."""
    line = shapely.LineString(LINES["lark/2"][1])
    out = []
    for k in range(35):
        low = 30.0 + 15.0 * k
        dash = shapely.ops.substring(line, low, low + 5.0).buffer(1 / 6, cap_style="flat")
        out.append(_row(f"lane_line/{k + 1}", 1, 1, dash, (low, low + 5.0, -1 / 6, 1 / 6)))
        out[-1] |= {
            "job_id": DASHES, "sequence": k + 1, "lane": "lane 2 of 4", "moving": 1,
            "street": "Larkspur Avenue", "bearing_deg": 80.0, "start_min": 0.1 * k,
            "width_ft": 1 / 3, "wait_min": 0.0,
        }  # fmt: skip
    return out


def _row(
    marking: str, number: int, pieces: int, shape: Any, box: tuple[float, ...]
) -> dict[str, Any]:
    low, high, left, right = box
    return {
        "section_id": f"{marking}/s{number}", "marking_id": marking, "number": number,
        "pieces": pieces, "kind": marking.split("/")[0], "color": "white", "coat": 1,
        "material": "waterborne paint", "over_id": "", "from_ft": low, "to_ft": high,
        "left_ft": left, "right_ft": right, "stand_ft": (low + high) / 2.0,
        "length_ft": high - low, "width_ft": right - left, "minutes": 3.0, "moving": 0,
        "hold": "", "status": "open", "action": "new", "geometry": shape,
    }  # fmt: skip


def _along(low: float, high: float, left: float, right: float) -> Any:
    """A rectangle beside Larkspur Avenue: right of eastbound travel is south."""
    return shapely.box(low, -right, high, -left)


def _north(low: float, high: float, left: float, right: float) -> Any:
    """A rectangle beside the northern block of Tern Street: right of its line is east."""
    return shapely.box(420.0 + left, low, 420.0 + right, high)


def _many(shapes: Sequence[Any]) -> Any:
    return shapely.MultiPolygon(shapes)


def _register_marks() -> list[dict[str, Any]]:
    out = []
    for lane in range(3):
        for k, x in enumerate((378.0, 380.0)):
            out.append(
                ("stop_line/1", lane + 1, (x, 12.0 - 12.0 * lane), (x, 12.0 * lane - 12.0), k)
            )
    for k, x in enumerate((-15.0, -1.0)):
        out.append(("bike_green/7", 1, (420.0 + x, 38.0), (38.0, x), k))
    return [
        {
            "mark_id": f"{marking}/m{number}{k}", "marking_id": marking,
            "section_id": f"{marking}/s{number}", "next_id": f"{marking}/s{number + 1}",
            "station_ft": place[0], "offset_ft": place[1], "geometry": shapely.Point(at),
        }
        for marking, number, at, place, k in out
    ]  # fmt: skip


def _job(job_id: str, order: int, rows: Sequence[dict[str, Any]], **values: Any) -> dict[str, Any]:
    own = [r for r in rows if r["job_id"] == job_id]
    colors = {f"{c}_gal": total(own, "paint_gal", color=c) for c in ("white", "yellow", "green")}
    kinds = sorted({r["kind"] for r in own})
    sums = {name: total(own, name) for name in ("area_sqft", "beads_lb", "primer_gal", "weight_lb")}
    shape = shapely.union_all([r["geometry"] for r in own]).centroid
    return {
        "job_id": job_id, "tour_id": TOUR, "sequence": order, "street": own[0]["street"],
        "markings": " ".join(dict.fromkeys(r["marking_id"] for r in own)), **colors, **sums,
        "kinds": ", ".join(f"{k} {sum(r['kind'] == k for r in own)}" for k in kinds),
        "sections": len(own), "other_gal": 0.0, "materials": "waterborne paint", "moving": 0,
        "cost": total(own, "cost"), "speed_mph": 30.0, "closed_ft": 12.0, "cone_in": 28,
        "arrow_board": 0, "window": "", "earliest": "07:00", "latest": "15:00",
        "district": "North", "hold": "", "geometry": shape, **values,
    }  # fmt: skip


def _jobs(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    return [
        _job(
            CROSSWALK, 1, rows, segment_id="lark/1",
            cross_streets="from Quarry Road to Tern Street",
            bearing_deg=90.0, entry_ft=378.0, exit_ft=394.0, minutes=34.0, dry_min=0.0, cones=22,
            signs=3, taper_ft=180.0, buffer_ft=200.0, duration="short duration", window="9-15",
        ),
        _job(
            BOX, 2, rows, segment_id="tern/2", materials="waterborne paint, green waterborne",
            cross_streets="from Old Mill Lane to Larkspur Avenue",
            bearing_deg=180.0, entry_ft=48.0, exit_ft=31.0, minutes=46.0, dry_min=20.0, cones=14,
            signs=4, taper_ft=100.0, buffer_ft=155.0, duration="short duration",
            hold="one lane left for both directions: hold traffic, let it take turns",
        ),
        _job(
            DASHES, 3, rows, segment_id="lark/2", cross_streets="from Tern Street to Old Mill Lane",
            bearing_deg=86.0, entry_ft=30.0, exit_ft=545.0, minutes=4.0, dry_min=0.0, cones=0,
            signs=2, taper_ft=0.0, buffer_ft=0.0, duration="mobile", moving=1, arrow_board=1,
        ),
    ]  # fmt: skip


def _visits() -> list[dict[str, Any]]:
    rows = [
        ("depot", "", "Old Mill Lane", "06:30", "06:30", "07:00", 0.0, 0.0, (600, 259)),
        ("job", CROSSWALK, "Larkspur Avenue", "07:12", "09:00", "09:34", 12.0, 4.1, (386, -6)),
        ("job", BOX, "Tern Street", "09:40", "09:40", "10:26", 6.0, 0.8, (412, 38)),
        ("refill", "", "Old Mill Lane", "10:40", "10:40", "11:05", 14.0, 3.9, (600, 259)),
        ("job", DASHES, "Larkspur Avenue", "11:20", "11:20", "11:24", 15.0, 4.2, (690, 19)),
        ("depot", "", "Old Mill Lane", "11:40", "11:40", "11:40", 16.0, 4.0, (600, 259)),
    ]
    names = ("kind", "job_id", "street", "arrive", "start", "leave", "drive_min", "drive_mi")
    return [
        {"tour_id": TOUR, "sequence": k, **dict(zip(names, row, strict=False))}
        | {"geometry": shapely.Point(row[-1])}
        for k, row in enumerate(rows)
    ]


def _tour(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    colors = {f"{c}_gal": total(rows, "paint_gal", color=c) for c in ("white", "yellow", "green")}
    sums = {n: total(rows, n) for n in ("beads_lb", "primer_gal", "weight_lb", "cost")}
    path = [(600, 259), (420, 340), (0, 320), (0, 0), (420, 0), (420, 340), (600, 259)]
    path += [(420, 340), (420, 0), (700, 20), (980, 90), (600, 259)]
    return {
        "tour_id": TOUR, "date": "2031-05-06", "truck": "truck 1", "start": "07:00",
        "finish": "11:40", "jobs": 3, "drive_mi": 17.0, "drive_min": 63.0, "paint_min": 84.0,
        "dry_min": 20.0, "wait_min": 108.0, "changeover_min": 25.0, "other_gal": 0.0, "cones": 22,
        **colors, **sums, "geometry": shapely.LineString(path),
    }  # fmt: skip


def _loads(rows: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    white, green = (round(total(rows, "paint_gal", color=c), 4) for c in ("white", "green"))
    loads = [
        ("paint", "white", "waterborne paint", white, "gal", "sum of the sections"),
        ("paint", "green", "green waterborne", green, "gal", "sum of the sections"),
        ("beads", "", "type 1", round(total(rows, "beads_lb"), 4), "lb", "6 lb to a gallon"),
        ("primer", "", "", 0.0, "gal", "no melt or sheet in this tour"),
        ("water", "", "", 25.0, "gal", "to rinse at each change of color"),
        ("cones", "", "", 22.0, "pieces", "most at one job"),
        ("signs", "", "", 4.0, "pieces", "most at one job"),
        ("spare tips", "", "", 4.0, "pieces", "common practice"),
    ]
    names = ("item", "color", "material", "amount", "unit", "note")
    return [{"tour_id": TOUR, **dict(zip(names, row, strict=True))} for row in loads]


def _materials() -> list[dict[str, Any]]:
    limits = {
        "min_air_f": 40.0, "max_air_f": 95.0, "min_pavement_f": 40.0, "max_pavement_f": 95.0,
        "max_humidity_percent": None, "dew_margin_f": 5.0, "life_years": 1.0,
    }  # fmt: skip
    paint = {"form": "paint", "film_mil": 15.0, "no_track_min": 10.0, "dry_min": 20.0, **limits}
    return [
        {"material": "waterborne paint", "beads": "type 1, 6 lb to a gallon", "note": "", **paint},
        {
            "material": "green waterborne",
            "beads": "none",
            "note": "tack-free before white",
            **paint,
        },
    ]


def _streets() -> Any:
    rows = []
    for name, (street, points, oneway, half) in LINES.items():
        line = shapely.LineString(points)
        known = {
            "segment_id": name, "name": street, "oneway": oneway, "width_ft": 2 * half,
            "left_ft": half, "right_ft": half, "length_ft": line.length, "geometry": line,
        }  # fmt: skip
        rows.append(known)
    return _table("streets", rows)


def _approaches() -> Any:
    """Stop positions: Larkspur Avenue eastbound and Tern Street southbound, at their crossing."""
    known = [
        ("lark/1", 20.0, [(379, -24), (379, 24)]),
        ("tern/2", 25.0, [(405, 47), (419, 47)]),
    ]
    rows = [
        {"segment_id": name, "curb_ft": curb, "geometry": shapely.LineString(stop)}
        for name, curb, stop in known
    ]
    return _table("approaches", rows)


def _routed() -> dict[str, Any]:
    rows = sections()
    found = {
        "sections": rows, "register_marks": _register_marks(), "jobs": _jobs(rows),
        "visits": _visits(), "tours": [_tour(rows)], "loads": _loads(rows),
        "materials": _materials(),
    }  # fmt: skip
    return {name: _table(name, own) for name, own in found.items()}


def _table(name: str, rows: Sequence[Mapping[str, Any]]) -> Any:
    """Rows as a table of that layer; columns not given stay empty."""
    lay = layer(name)
    empty = {"text": "", "real": None, "integer": None}
    columns = {
        c.name: pd.Series(
            [r.get(c.name, empty[c.type]) for r in rows],
            dtype={"text": "object", "real": "float64", "integer": "Int64"}[c.type],
        )
        for c in lay.columns
    }
    if lay.geometry is None:
        return pd.DataFrame(columns)
    return gpd.GeoDataFrame(columns, geometry=[r["geometry"] for r in rows], crs=PLANE)
