"""Time to cut a whole city into sections, as a ratio to drawing its markings in the same run.

    python tests/bench/bench_sections.py PROJECT.toml

A city that a package carries: neatnet's source distribution, data/slc_4881/original.parquet
((c) OpenStreetMap contributors, ODbL 1.0), with a project file as in `bench_city.py`.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import geopandas as gpd

from layoutgen import pipeline
from layoutgen.settings import load_project
from layoutgen.work.reach import ReachParams
from layoutgen.work.sections import cut_markings


def main() -> None:
    """Print counts, seconds and the ratio, and what sections and markings differ by."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("project", type=Path)
    project = load_project(parser.parse_args().project)
    began = time.perf_counter()
    layout = pipeline.marked(project, lambda _: None)
    drawn = time.perf_counter() - began
    began = time.perf_counter()
    sections, _ = cut_markings(layout.markings, layout.design, ReachParams())
    cut = time.perf_counter() - began
    print(f"{len(layout.markings):,} markings drawn in {drawn:.1f} s")
    print(f"{len(sections):,} sections in {cut:.1f} s, {cut / drawn:.2f} times the drawing")
    print(f"{cut / len(layout.markings) * 50_000:.1f} s for 50,000 markings at this rate")
    print(f"largest difference of area: {difference(layout.markings, sections):.1e}")


def difference(markings: gpd.GeoDataFrame, sections: gpd.GeoDataFrame) -> float:
    """Largest relative difference between a marking and the sum of its sections."""
    own = markings.set_index("marking_id").geometry.area
    whole = sections.geometry.area.groupby(sections["marking_id"]).sum()
    return float(((whole - own.reindex(whole.index)).abs() / own.reindex(whole.index)).max())


if __name__ == "__main__":
    main()
