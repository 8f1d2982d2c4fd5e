"""Time and memory of `generate` on a whole city, as a ratio to a floor measured in the same run.

The floor is bulk-reading the same input and bulk-writing the same polygons. The input is tiled to
four times its size for the second figure, time(4N) / time(N).

    python tests/bench/bench_city.py STREETS [--class-column highway]

A city that a package carries: neatnet's source distribution, data/slc_4881/original.parquet
((c) OpenStreetMap contributors, ODbL 1.0).
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio

from layoutgen import pipeline

TEXT = """
[project]
output = "city.gpkg"
[controls]
infer = "class"
[inputs.streets]
source = "city.parquet"
fields = {{ street_class = "{column}" }}
[inputs.streets.values.street_class]
motorway = "freeway"
trunk = "arterial"
primary = "arterial"
secondary = "arterial"
tertiary = "collector"
residential = "local"
unclassified = "local"
living_street = "local"
service = "alley"
[rules.crosswalk]
at = ["every_leg"]
"""


def generate(streets: gpd.GeoDataFrame, column: str, folder: Path) -> tuple[float, Any]:
    """(seconds, layout) of one run."""
    streets.to_parquet(folder / "city.parquet")
    (folder / "p.toml").write_text(TEXT.format(column=column))
    start = time.perf_counter()
    layout = pipeline.generate(pipeline.load_project(folder / "p.toml"), lambda _: None)
    return time.perf_counter() - start, layout


def floor(markings: gpd.GeoDataFrame, folder: Path) -> float:
    """Seconds of reading the input and writing the polygons, and nothing else."""
    start = time.perf_counter()
    gpd.read_parquet(folder / "city.parquet")
    plain = markings[["marking_id", "kind", "area_sqft", "geometry"]]
    pyogrio.write_dataframe(plain, folder / "floor.gpkg", use_arrow=True)
    return time.perf_counter() - start


def tiled(streets: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Four copies of a city side by side."""
    west, south, east, north = streets.total_bounds
    dx, dy = (east - west) * 1.05, (north - south) * 1.05
    copies = [
        streets.set_geometry(streets.translate(i * dx, j * dy)) for i in (0, 1) for j in (0, 1)
    ]
    return gpd.GeoDataFrame(pd.concat(copies, ignore_index=True), crs=streets.crs)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("streets", type=Path)
    parser.add_argument("--class-column", default="highway")
    args = parser.parse_args()
    read = gpd.read_parquet if args.streets.suffix == ".parquet" else gpd.read_file
    city = read(args.streets)[[args.class_column, "geometry"]]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        once, layout = generate(city, args.class_column, folder)
        least = floor(layout.markings, folder)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(f"{len(city):,} lines, {len(layout.markings):,} markings")
        print(f"generate {once:.1f} s, floor {least:.2f} s, ratio {once / least:.1f}")
        print(f"peak memory {peak:.2f} GB")
        four, _ = generate(tiled(city), args.class_column, folder)
        print(f"four times the city {four:.1f} s, time(4N)/time(N) {four / once:.2f}")


if __name__ == "__main__":
    main()
