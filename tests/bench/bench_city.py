"""Time and memory of `generate` on a whole city, as a ratio to a floor measured in the same run.

The floor is bulk-reading the same input and bulk-writing the same polygons. The input is tiled to
four times its size for the second figure, time(4N) / time(N). Seconds are by the clock and, because
machines are shared, of the processor; of those, what the kernel spent on memory and files.

    python tests/bench/bench_city.py STREETS [--class-column highway]

A city that a package carries: neatnet's source distribution, data/slc_4881/original.parquet
((c) OpenStreetMap contributors, ODbL 1.0).
"""

from __future__ import annotations

import argparse
import gc
import os
import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Spent:
    """Seconds by the clock, of the processor, and of the kernel within those."""

    clock: float
    cpu: float
    kernel: float

    def __str__(self) -> str:
        return f"{self.clock:.2f} s (processor {self.cpu:.2f}, kernel {self.kernel:.2f})"


def spent(work: Callable[[], Any]) -> tuple[Spent, Any]:
    """What a piece of work takes, and its result; garbage of what ran before is gone by then."""
    gc.collect()
    start, before = time.perf_counter(), os.times()
    result = work()
    clock, after = time.perf_counter() - start, os.times()
    kernel = after.system - before.system
    return Spent(clock, after.user - before.user + kernel, kernel), result


def generate(streets: gpd.GeoDataFrame, column: str, folder: Path) -> tuple[Spent, Any]:
    """(seconds, layout) of one run."""
    streets.to_parquet(folder / "city.parquet")
    (folder / "p.toml").write_text(TEXT.format(column=column))
    project = pipeline.load_project(folder / "p.toml")
    return spent(lambda: pipeline.generate(project, lambda _: None))


def floor(markings: gpd.GeoDataFrame, folder: Path) -> Spent:
    """Seconds of reading the input and writing the polygons, and nothing else."""

    def work() -> None:
        gpd.read_parquet(folder / "city.parquet")
        plain = markings[["marking_id", "kind", "area_sqft", "geometry"]]
        pyogrio.write_dataframe(plain, folder / "floor.gpkg", use_arrow=True)

    return spent(work)[0]


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
        print(f"generate {once}\nfloor {least}")
        print(f"ratio {once.clock / least.clock:.1f} (processor {once.cpu / least.cpu:.1f})")
        print(f"peak memory {peak:.2f} GB")
        del layout
        four, _ = generate(tiled(city), args.class_column, folder)
        more = f"{four.clock / once.clock:.2f} (processor {four.cpu / once.cpu:.2f}, "
        user = (four.cpu - four.kernel) / (once.cpu - once.kernel)
        print(f"four times the city {four}\ntime(4N)/time(N) {more}without the kernel {user:.2f})")


if __name__ == "__main__":
    main()
