"""Kelpwick's bypass and its asset register: what stands, lies and is asked for along the streets.

`make_town.py` calls this after the street layer is written: streets keep their numbers, the bypass
gets numbers from 2301 on. Every asset is told by street number, share of the street's length from
its first point, and side (left or right as digitised). Numbers, places and names are invented.
"""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyogrio
import shapely
from shapely.geometry import LineString, Point
from shapely.ops import substring

Row = dict[str, Any]
Streets = Mapping[int, Any]

FREEWAY, RAMP, ARTERIAL = 1, 2, 3
FIRST_NUMBER = 2301

_COMMON: Row = {
    "ROW_WD": 120, "PARK_SIDE": "N", "BIKE_SIDE": 0, "CTR_TURN": "N", "TURN_FT": "", "TURN_TF": "",
    "F_ZLEV": 0, "T_ZLEV": 0, "PAVE_TYPE": "AC", "RDABOUT": "N", "STATUS": "BUILT",
    "OWNER": "TOWN", "LN_FT": None, "LN_TF": None,
}  # fmt: skip

#: name, class, one-way, lanes, pavement, speed, points on the plan (u, v)
BYPASS: tuple[tuple[str, int, str, int, int, int, tuple[tuple[float, float], ...]], ...] = (
    ("Kelpwick Bypass", FREEWAY, "FT", 2, 38, 55, ((5360, 3000), (5362, 2500), (5360, 2000))),
    ("Kelpwick Bypass", FREEWAY, "FT", 2, 38, 55, ((5360, 2000), (5358, 1400), (5360, 800))),
    ("Kelpwick Bypass", FREEWAY, "FT", 2, 38, 55, ((5360, 800), (5359, 500), (5360, 200))),
    ("Kelpwick Bypass", FREEWAY, "FT", 1, 26, 35,
     ((5360, 200), (5366, 120), (5400, 80), (5436, 120), (5440, 200))),
    ("Kelpwick Bypass", FREEWAY, "FT", 3, 50, 55, ((5440, 200), (5442, 800), (5440, 1450))),
    ("Kelpwick Bypass", FREEWAY, "FT", 2, 38, 55, ((5440, 1450), (5438, 2200), (5440, 3000))),
    ("Kelpwick Bypass", FREEWAY, "FT", 1, 26, 35,
     ((5440, 3000), (5434, 3080), (5400, 3120), (5364, 3080), (5360, 3000))),
    ("Bypass Exit", RAMP, "FT", 1, 24, 35,
     ((5360, 2000), (5350, 1900), (5322, 1750), (5200, 1530), (5090, 1445), (4990, 1425))),
    ("Bypass Entrance", RAMP, "FT", 1, 24, 35,
     ((4990, 1425), (5080, 1405), (5220, 1260), (5322, 1050), (5350, 900), (5360, 800))),
    ("Highmoor Road", ARTERIAL, "", 2, 34, 45,
     ((3540, 3690), (3560, 4200), (3700, 4640), (3920, 4960), (3980, 5300), (3860, 5640),
      (3790, 6000), (3800, 6600))),
    ("Breakwater Avenue", ARTERIAL, "", 4, 50, 40, ((-2000, 1380), (-2250, 1375), (-2520, 1365))),
)  # fmt: skip

#: street, share of its length, what the crossing is like, what stops the traffic
CROSSINGS = (
    (2053, 0.45, "marked", ""),
    (2006, 0.50, "marked", ""),
    (2117, 0.55, "marked", "signal"),
)
#: street, share, form, length
HUMPS = ((2265, 0.30, "hump", 12.0), (2238, 0.55, "hump", 12.0), (2259, 0.50, "table", 22.0))
#: rail crossings: street, devices
RAIL = ((2069, "signs"), (2080, "signs"), (2091, "gates"), (2099, "signs"))
#: streets, what it is, side as digitised or both, direction along the digitised line
BIKEWAYS = (
    ((2188, 2187), "buffered", "both", "both"),
    ((2153, 2154), "separated", "both", "both"),
    ((2135, 2136), "shared", "both", "both"),
    ((2029,), "contraflow", "left", "backward"),
)
#: street, share of begin and end, side, use
CURB_USES = (
    (2143, 0.35, 0.60, "right", "bus_stop"),
    (2164, 0.30, 0.45, "right", "loading"),
    (2114, 0.40, 0.57, "right", "accessible"),
    (2133, 0.30, 0.70, "left", "fire_lane"),
    (2145, 0.55, 0.75, "left", "no_parking"),
    (2008, 0.40, 0.52, "right", "taxi"),
)
#: street, share, side, kind, width along the curb
CURB_POINTS = (
    (2144, 0.40, "left", "driveway", 16.0),
    (2144, 0.65, "right", "driveway", 20.0),
    (2145, 0.40, "right", "hydrant", None),
    (2142, 0.45, "left", "hydrant", None),
)
#: street, side of the street, how cars stand
ANGLE_PARKING = ((2038, "left", "angle"), (2038, "right", "none"))
#: street, share, travel along (1) or against (-1) digitising, words, figure
LEGENDS = (
    (2006, 0.10, 1, "PED|XING", ""),
    (2239, 0.40, 1, "SLOW", ""),
    (2239, 0.60, -1, "SLOW", ""),
    (2133, 0.50, 1, "KEEP|CLEAR", ""),
    (2063, 0.45, 1, "", "arrow_through"),
)
#: street -> who its leftmost and its rightmost lane are for, as digitised
LANE_USE = {2302: ("hov", ""), 2204: ("bus", "bus"), 2205: ("bus", "bus")}
ROUTES = {"Viaduct Road": "SR 12", "Highmoor Road": "SR 12", "Kelpwick Bypass": "US 7"}
RURAL = {"Kelpwick Bypass", "Bypass Exit", "Bypass Entrance", "Highmoor Road"}
#: vehicles per day by class
VOLUMES = {1: 24000, 2: 5200, 3: 14200, 5: 6300, 7: 650}


def bypass_rows(to_plane: Any) -> list[Row]:
    """Streets of the bypass and the road inland, under the columns of the street layer."""
    rows = []
    for k, (name, kind, oneway, lanes, width, speed, points) in enumerate(BYPASS):
        xy = to_plane(_bent(np.array(points, dtype=np.float64)))
        rows.append({
            "SEG_NO": FIRST_NUMBER + k, "ST_NAME": name, "FUNC_CL": kind, "ONE_WAY": oneway,
            "NUM_LANES": lanes, "PAVE_WD": width, "POST_SPD": speed, **_COMMON,
            "geometry": LineString(np.column_stack([xy, np.zeros(len(xy))])),
        })  # fmt: skip
    return rows


def _bent(points: Any) -> Any:
    """Corners rounded by cutting each at a quarter of its sides, four times; the ends stay."""
    for _ in range(4):
        a, b = points[:-1], points[1:]
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 2)
        points = np.vstack([points[:1], cut[1:-1], points[-1:]])
    return points


def with_traffic(rows: Iterable[Row]) -> list[Row]:
    """Street rows with traffic volume, setting, route number and lane use."""
    out = []
    for row in rows:
        name, use = row["ST_NAME"], LANE_USE.get(row["SEG_NO"] or 0, ("", ""))
        out.append({
            **row, "ADT": VOLUMES.get(row["FUNC_CL"], 0),
            "RURAL_URBA": "R" if name in RURAL else "U", "ROUTE_NO": ROUTES.get(name, ""),
            "USE_LEFT": use[0], "USE_RIGHT": use[1], "geometry": row["geometry"],
        })  # fmt: skip
    return out


def asset_tables(streets: Streets, track: Any) -> Iterator[tuple[str, list[Row]]]:
    """(layer, rows) of the register; streets by number, and the rail line."""
    yield "crossings", [
        {"CROSSING_ID": f"X-{k:02d}", "MARKINGS": marked, "CONTROL": control,
         "geometry": _spot(streets[number], share)}
        for k, (number, share, marked, control) in enumerate(CROSSINGS, 1)
    ]  # fmt: skip
    yield "rail_crossings", [
        {"XING_ID": f"RX-{k}", "TRACKS": 1, "WARNING_DEVICE": device,
         "geometry": shapely.force_2d(streets[number]).intersection(track)}
        for k, (number, device) in enumerate(RAIL, 1)
    ]  # fmt: skip
    yield (
        "humps",
        [
            {
                "HUMP_ID": f"H-{k}",
                "HUMP_TYPE": form,
                "HUMP_LENGTH": length,
                "geometry": _spot(streets[n], share),
            }
            for k, (n, share, form, length) in enumerate(HUMPS, 1)
        ],
    )
    yield "bikeways", list(_bikeways(streets))
    yield "curb_uses", list(_curb_uses(streets))
    yield "curb_points", [
        {"ITEM_ID": f"CP-{k}", "ITEM": kind, "WIDTH_FT": width,
         "geometry": _spot(streets[n], share, 18.0 if side == "right" else -18.0)}
        for k, (n, share, side, kind, width) in enumerate(CURB_POINTS, 1)
    ]  # fmt: skip
    yield (
        "parking",
        [
            {"PARK_ID": f"P-{k}", "PARKING_TYPE": how, "SIDE": side, "geometry": _line(streets[n])}
            for k, (n, side, how) in enumerate(ANGLE_PARKING, 1)
        ],
    )
    yield "legends", list(_legends(streets))


def _bikeways(streets: Streets) -> Iterator[Row]:
    for k, (numbers, facility, side, direction) in enumerate(BIKEWAYS, 1):
        for part, number in enumerate(numbers, 1):
            yield {
                "FACILITY_ID": f"BW-{k}{part}", "FACILITY": facility, "SIDE": side,
                "DIRECTION": direction,
                "geometry": _line(streets[number]),
            }  # fmt: skip


def _curb_uses(streets: Streets) -> Iterator[Row]:
    for k, (number, begin, end, side, use) in enumerate(CURB_USES, 1):
        line = _line(streets[number])
        along = substring(line, begin, end, normalized=True)
        shift = -16.0 if side == "right" else 16.0
        yield {"ZONE_ID": f"CZ-{k}", "USE": use, "geometry": along.offset_curve(shift)}


def _legends(streets: Streets) -> Iterator[Row]:
    for k, (number, share, way, text, figure) in enumerate(LEGENDS, 1):
        line = streets[number]
        a, b = (_spot(line, s) for s in (share - 0.01, share + 0.01))
        bearing = np.degrees(np.arctan2(b.x - a.x, b.y - a.y)) + (0 if way == 1 else 180)
        yield {
            "LEGEND_ID": f"L-{k}", "WORDS": text, "FIGURE": figure,
            "BEARING": round(float(bearing) % 360.0, 1), "geometry": _spot(line, share),
        }  # fmt: skip


def _line(line: Any) -> Any:
    return shapely.force_2d(line)


def _spot(line: Any, share: float, right_ft: float = 0.0) -> Any:
    """Point on a line by share of its length, moved to the right of it."""
    flat = _line(line)
    at = flat.interpolate(share, normalized=True)
    ahead = flat.interpolate(min(1.0, share + 0.01), normalized=True)
    dx, dy = ahead.x - at.x, ahead.y - at.y
    step = right_ft / float(np.hypot(dx, dy))
    return Point(at.x + dy * step, at.y - dx * step)


def write_assets(streets: Iterable[Row], track: Any, path: Path, crs: str) -> None:
    """Write the register, a GeoPackage with a layer per kind of asset."""
    by_number = {row["SEG_NO"]: row["geometry"] for row in streets if row["geometry"] is not None}
    for layer, rows in asset_tables(by_number, track):
        table = gpd.GeoDataFrame(rows, geometry="geometry", crs=crs)
        pyogrio.write_dataframe(table, path, layer=layer, driver="GPKG", append=path.exists())
