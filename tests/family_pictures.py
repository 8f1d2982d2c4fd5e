"""One picture of every family of markings, from the demo town, on sheets of twenty.

    python tests/family_pictures.py LAYOUT.gpkg FOLDER

The window is turned to no one: north is up. Of every rule the marking is shown that has most paint
of the same rule around it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib
import numpy as np
import shapely

matplotlib.use("Agg")
import matplotlib.pyplot as plt
from render import draw_window, read_layers

PER_SHEET = 20
SMALLEST_FT, LARGEST_FT = 60.0, 170.0


def draw_families(layout: Path, folder: Path) -> list[Path]:
    """Sheets `families_1.png` ... in a folder."""
    layers = read_layers(layout)
    rules = sorted(set(layers["markings"]["rule"]))
    out = []
    for page, begin in enumerate(range(0, len(rules), PER_SHEET), 1):
        figure, grid = plt.subplots(5, 4, figsize=(16, 20.6))
        for axes, rule in zip(grid.flat, rules[begin : begin + PER_SHEET], strict=False):
            _picture(axes, layers, rule)
        for axes in grid.flat[len(rules[begin : begin + PER_SHEET]) :]:
            axes.axis("off")
        figure.tight_layout(pad=0.6)
        out.append(folder / f"families_{page}.png")
        figure.savefig(out[-1], dpi=55)
        plt.close(figure)
    return out


def _picture(axes: Any, layers: dict[str, gpd.GeoDataFrame], rule: str) -> None:
    markings = layers["markings"]
    own = markings[markings["rule"] == rule]
    center, size = window(own)
    draw_window(axes, layers, center=center, size_ft=size)
    axes.set_title(rule, fontsize=13)


def window(own: gpd.GeoDataFrame) -> tuple[tuple[float, float], float]:
    """(middle, size in feet) of the window that shows most of a family."""
    unit = own.crs.axis_info[0].unit_conversion_factor / 0.3048
    shapes = own.geometry.to_numpy()
    places = shapely.centroid(shapes)
    bounds = shapely.bounds(shapes)
    reach = float(np.median(np.maximum(*(bounds[:, 2:] - bounds[:, :2]).T))) * unit
    size = min(max(reach * 1.6, SMALLEST_FT), LARGEST_FT)
    tree = shapely.STRtree(places)
    boxes = shapely.buffer(places, size / unit / 2.4, cap_style="square")
    hit, _ = tree.query(boxes, predicate="intersects")
    best = int(np.argmax(np.bincount(hit, minlength=len(own))))
    return (places[best].x, places[best].y), size


if __name__ == "__main__":
    print(*draw_families(Path(sys.argv[1]), Path(sys.argv[2])), sep="\n")
