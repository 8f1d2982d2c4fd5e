"""One place laid out from two sources: how far apart do corresponding markings stand?

The city's own centerlines and an OpenStreetMap extract of the same streets are laid out with the
same rules and the same control points. Every stop line and crosswalk of one layout is paired with
the nearest of its kind in the other, on a street of the same name, seen in the same direction of
the leg; pairs are mutual. Two distances are told per pair: along the street (is the line too far
back or ahead?), and between the middles (across the street too, which depends on how many lines a
source draws for a divided street).

    python tests/bench/two_sources.py STREETS.geojson EXTRACT.osm

A place that a package carries: spiderosm's source distribution, spiderosm/test_data/input/ucb_sw:
streets.geojson and ucb_sw.osm.xml (copied to a name that ends in .osm). OpenStreetMap data are
(c) OpenStreetMap contributors, ODbL 1.0.
"""

from __future__ import annotations

import argparse
import re
import tempfile
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layoutgen import pipeline

RULES = """
[rules.crosswalk]
at = ["every_leg"]
"""
CITY = """
[inputs.streets]
source = "{city}"
crs = "EPSG:32610"
[inputs.streets.fields]
segment_id = "OBJECTID"
name = "FULLNAME"
street_class = "CFCC"
oneway = "ONEWAY"
lanes = "PAV_LANES"
width_ft = "PAV_WIDTH_"
speed_mph = "SPEED"
level_from = "F_ZLEV"
level_to = "T_ZLEV"
[inputs.streets.values]
street_class = {{ A30 = "arterial", A31 = "arterial", A35 = "arterial", A40 = "local", \
A41 = "local", A45 = "local", A62 = "ramp", A73 = "alley", B42 = "path" }}
oneway = {{ FT = "forward", TF = "backward" }}
lanes = {{ 0 = "" }}
width_ft = {{ 0 = "" }}
speed_mph = {{ 0 = "" }}
[inputs.controls]
source = "{osm}"
layer = "points"
where = {{ highway = ["traffic_signals", "stop", "give_way"] }}
fields = {{ control_id = "osm_id", control = "highway" }}
values = {{ control = {{ traffic_signals = "signal", give_way = "yield" }} }}
"""
OSM = """
extends = "osm.toml"
[inputs.streets]
source = "{osm}"
"""
PLANE = "EPSG:32610"
FT = 0.3048
#: markings farther apart are not the same marking
REACH_FT = 60.0
WORDS = {"street": "st", "avenue": "ave", "way": "way", "road": "rd", "drive": "dr"}


def lay_out(text: str, folder: Path, name: str) -> tuple[Any, gpd.GeoDataFrame]:
    """Layout, and its stop lines and crosswalks in feet on one plane for both sources."""
    path = folder / f"{name}.toml"
    path.write_text(text + RULES)
    layout = pipeline.lay_out(pipeline.load_project(path), lambda _: None)
    table = layout.markings[layout.markings["kind"].isin(["stop_line", "crosswalk"])]
    legs = {leg.leg_id: leg for leg in layout.design.legs()}
    own = [legs[marking.split("/")[1]] for marking in table["marking_id"]]
    middles = shapely.centroid(table.geometry.to_crs(PLANE).to_numpy())
    xy = shapely.get_coordinates(middles) / FT
    out = pd.DataFrame(
        {
            "id": table["marking_id"].to_numpy(),
            "kind": table["kind"].to_numpy(),
            "street": [plain(leg.segment.name) for leg in own],
            "bearing": [leg.bearing_deg for leg in own],
            "width": [leg.segment.width_ft for leg in own],
            "source": [leg.segment.width_source for leg in own],
            "curb": [leg.layout.curb.station_ft for leg in own],
            "control": [leg.control for leg in own],
            "x": xy[:, 0],
            "y": xy[:, 1],
        }
    )
    return layout, out


def usual_widths(layout: Any) -> str:
    """`[defaults]` a planner would set for this city: the median width of its local streets.

    The extract has no widths, so its layout can be no better than the defaults it is given.
    Arterials keep the shipped ones: the extract draws their carriageways singly, the city as one.
    """
    rows = [
        (s.street_class, s.oneway == "both", s.width_ft)
        for s in layout.design.segments
        if s.width_source == "attribute"
    ]
    table = pd.DataFrame(rows, columns=["street_class", "two_way", "width"])
    median = table.groupby(["street_class", "two_way"])["width"].median()
    text = ""
    for name in ("collector", "local"):
        text += f"""
[defaults.{name}]
roadway_width = "{median["local", True]:g} ft"
roadway_oneway = "{median["local", False]:g} ft"
"""
    return text


def plain(name: str) -> str:
    """Name in small letters, with the usual short forms."""
    return " ".join(WORDS.get(word, word) for word in re.findall(r"[a-z0-9]+", name.casefold()))


def pairs(a: pd.DataFrame, b: pd.DataFrame) -> pd.DataFrame:
    """Mutual nearest markings of one kind, street and direction, with both distances."""
    gap, along, fits = [np.empty((len(a), len(b))) for _ in range(3)]
    dx = b["x"].to_numpy()[None] - a["x"].to_numpy()[:, None]
    dy = b["y"].to_numpy()[None] - a["y"].to_numpy()[:, None]
    turn = b["bearing"].to_numpy()[None] - a["bearing"].to_numpy()[:, None]
    same = np.ones_like(dx, dtype=bool)
    for column in ("kind", "street"):
        same &= b[column].to_numpy()[None] == a[column].to_numpy()[:, None]
    same &= np.abs((turn + 180.0) % 360.0 - 180.0) < 30.0
    angle = np.radians(a["bearing"].to_numpy())[:, None]
    gap = np.hypot(dx, dy)
    along = dx * np.sin(angle) + dy * np.cos(angle)
    fits = np.where(same & (gap < REACH_FT), gap, np.inf)
    i = np.arange(len(a))
    j = fits.argmin(axis=1)
    mutual = np.isfinite(fits[i, j]) & (fits[:, j].argmin(axis=0) == i)
    i, j = i[mutual], j[mutual]
    left = a.iloc[i].reset_index(drop=True)
    right = b.iloc[j].reset_index(drop=True).add_suffix("_b")
    return pd.concat([left, right], axis=1).assign(
        gap=gap[i, j], along=along[i, j], dx=dx[i, j], dy=dy[i, j]
    )


def told(rows: pd.DataFrame) -> str:
    """Medians of one set of pairs."""
    along, gap = rows["along"].abs(), rows["gap"]
    return (
        f"{len(rows):3} pairs, along the street median {along.median():.1f} ft "
        f"(90 % {along.quantile(0.9):.1f}), middles {gap.median():.1f} ft"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("city", type=Path)
    parser.add_argument("osm", type=Path)
    parser.add_argument("--every", action="store_true", help="show every pair")
    args = parser.parse_args()
    files = {"city": args.city.resolve().as_posix(), "osm": args.osm.resolve().as_posix()}
    with tempfile.TemporaryDirectory() as name:
        layout, city = lay_out(CITY.format(**files), Path(name), "city")
        _, osm = lay_out(OSM.format(**files), Path(name), "extract")
        own = usual_widths(layout)
        _, tuned = lay_out(OSM.format(**files) + own, Path(name), "tuned")
    shared = set(city["street"]) & set(osm["street"]) - {""}
    print("streets in both:", ", ".join(sorted(shared)))
    for name, table in (("city", city), ("osm", osm)):
        print(name, table[table["street"].isin(shared)]["kind"].value_counts().to_dict())
    for title, table in (("shipped class defaults", osm), ("the city's usual local width", tuned)):
        found = pairs(city[city["street"].isin(shared)], table[table["street"].isin(shared)])
        print(title)
        for kind, rows in found.groupby("kind"):
            print(f"  {kind:10}", told(rows))
        print("  all       ", told(found))
        if args.every:
            columns = ["id", "id_b", "street", "width", "width_b", "curb", "curb_b", "along", "gap"]
            print(found[columns].round(1).to_string())


if __name__ == "__main__":
    main()
