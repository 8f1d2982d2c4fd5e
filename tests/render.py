"""Render a window of a layout to PNG, true to scale, as it lies on the street.

    python tests/render.py LAYOUT.gpkg OUT.png --at X Y --size 200
    python tests/render.py LAYOUT.gpkg OUT.png --id crosswalk/N0056-E/1 --size 160

X and Y are in the CRS of the layout, size in feet. Pavement is drawn from the street widths in the
file; markings in their paint color; north is up.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib
import shapely

matplotlib.use("Agg")
import matplotlib.pyplot as plt

PAINT = {
    "white": "#f7f7f2",
    "yellow": "#f2b705",
    "green": "#3f9b4f",
    "red": "#b8402f",
    "blue": "#2f62b8",
    "purple": "#6a3fa0",
    "black": "#111111",
}
#: what lies under white and yellow
GROUNDS = ("green", "red", "blue", "purple", "black")
GROUND, PAVEMENT = "#c9d1bd", "#4a4d52"


def render(
    layout: Path, out: Path, *, center: tuple[float, float], size_ft: float, dpi: int = 110
) -> None:
    """Draw a square window; raises ValueError where the layout's CRS is not projected."""
    figure, axes = plt.subplots(figsize=(8, 8))
    draw_window(axes, read_layers(layout), center=center, size_ft=size_ft)
    figure.tight_layout(pad=0.2)
    figure.savefig(out, dpi=dpi)
    plt.close(figure)


def read_layers(layout: Path) -> dict[str, gpd.GeoDataFrame]:
    """The layers a picture is drawn from."""
    return {n: gpd.read_file(layout, layer=n) for n in ("streets", "intersections", "markings")}


def draw_window(
    axes: Any,
    layers: dict[str, gpd.GeoDataFrame],
    *,
    center: tuple[float, float],
    size_ft: float,
) -> None:
    """A square window of a layout on matplotlib axes."""
    streets = layers["streets"]
    unit = streets.crs.axis_info[0].unit_conversion_factor / 0.3048
    if not streets.crs.is_projected:
        raise ValueError("the layout needs a projected CRS to be drawn to scale")
    half = size_ft / unit / 2
    box = (center[0] - half, center[1] - half, center[0] + half, center[1] + half)
    axes.set_facecolor(GROUND)
    near = shapely.box(*box).buffer(half)
    streets = streets[streets.intersects(near)]
    shift = (streets["left_ft"] - streets["right_ft"]).to_numpy() / unit / 2
    middle = shapely.offset_curve(streets.geometry.to_numpy(), shift)
    half = (streets["left_ft"] + streets["right_ft"]).to_numpy() / unit / 2
    roads = shapely.buffer(middle, half, cap_style="flat")
    _fill(axes, list(roads), PAVEMENT, 1)
    areas = layers["intersections"]
    _fill(axes, list(areas[areas.intersects(near)].geometry), PAVEMENT, 1)
    markings = layers["markings"]
    for color, group in markings[markings.intersects(near)].groupby("color"):
        order = 3 if color in GROUNDS else 4
        _fill(axes, list(group.geometry), PAINT.get(str(color), "#ff00ff"), order)
    axes.set_xlim(box[0], box[2])
    axes.set_ylim(box[1], box[3])
    axes.set_aspect("equal")
    axes.set_xticks([])
    axes.set_yticks([])
    _scale_bar(axes, box, unit, size_ft)


def place_of(layout: Path, marking_id: str) -> tuple[float, float]:
    """Middle of a marking."""
    table = gpd.read_file(layout, layer="markings")
    row = table[table["marking_id"] == marking_id]
    if row.empty:
        raise SystemExit(f"no marking {marking_id}")
    point = row.geometry.iloc[0].centroid
    return point.x, point.y


def _fill(axes: Any, shapes: list[Any], color: str, order: int) -> None:
    gpd.GeoSeries([s for s in shapes if s is not None and not s.is_empty]).plot(
        ax=axes, color=color, zorder=order, linewidth=0
    )


def _scale_bar(axes: Any, box: tuple[float, ...], unit: float, size_ft: float) -> None:
    length = 10 if size_ft <= 120 else 50 if size_ft <= 600 else 200
    x, y = box[0] + (box[2] - box[0]) * 0.04, box[1] + (box[3] - box[1]) * 0.04
    axes.plot([x, x + length / unit], [y, y], color="black", linewidth=3, zorder=9)
    axes.text(x, y, f" {length} ft", va="bottom", fontsize=9, zorder=9)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("layout", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--at", type=float, nargs=2)
    parser.add_argument("--id")
    parser.add_argument("--size", type=float, default=200.0)
    args = parser.parse_args()
    center = tuple(args.at) if args.at else place_of(args.layout, args.id)
    render(args.layout, args.out, center=center, size_ft=args.size)


if __name__ == "__main__":
    main()
