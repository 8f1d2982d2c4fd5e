"""What a drawing holds beside paint: its sheet, scale bar, ruler of the tape, arrow, words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from reportlab.lib.colors import black, white

from layoutgen.export.crew import ink

#: room below the paint for words, arrow and scale bar, pt
BELOW_PT = 58.0
#: size of small words, pt
SMALL = 6.5
BARS_FT = (1, 2, 5, 10, 20, 50, 100)


@dataclass(frozen=True)
class Sheet:
    """From feet in the frame of travel to points on the paper."""

    west_ft: float
    south_ft: float
    pt_per_ft: float
    width_pt: float
    height_pt: float
    left_pt: float

    def to_paper(self, shape: Any) -> Any:
        corner = np.array([self.west_ft, self.south_ft])
        shift = np.array([self.left_pt, BELOW_PT])
        return shapely.transform(shape, lambda xy: (xy - corner) * self.pt_per_ft + shift)

    @property
    def window(self) -> Any:
        return shapely.box(4.0, BELOW_PT - 12.0, self.width_pt - 4.0, self.height_pt - 4.0)


def ruler(out: Any, places: Sequence[tuple[float, float]], sheet: Sheet) -> Iterator[Any]:
    """Feet of the tape along the left edge."""
    _, south, _, north = sheet.window.bounds
    seen = [(feet, y) for feet, y in places if south + 4.0 < y < north - 16.0]
    if not seen:
        return
    x = 28.0
    ys = [y for _, y in seen]
    out.add(ink.polyline([(x, min(ys)), (x, max(ys))], 0.6))
    for feet, y in seen:
        out.add(ink.polyline([(x - 3.0, y), (x, y)], 0.6))
        out.add(ink.text((x - 4.0, y - 2.3), f"{feet:.0f}'", SMALL, anchor="end"))
    words = "tape"
    out.add(ink.text((x, max(ys) + 7.0), words, SMALL, anchor="end"))
    yield shapely.box(4.0, min(ys) - 4.0, x + 1.0, max(ys) + 14.0)


def scale_bar(out: Any, scale: int, sheet: Sheet, first: Any, which: str = "") -> Iterator[Any]:
    """A bar of whole feet in a lower corner, away from the arrow; below it which strip this is."""
    most = min(150.0, sheet.width_pt / 2.0 - 40.0)
    feet = max((b for b in BARS_FT if b * sheet.pt_per_ft <= most), default=BARS_FT[0])
    x = 14.0 if first.centroid.x > sheet.width_pt / 2.0 else sheet.width_pt - most - 22.0
    y, long = 16.0, feet * sheet.pt_per_ft
    for k in range(2):
        box = shapely.box(x + k * long / 2, y, x + (k + 1) * long / 2, y + 4.0)
        out.add(ink.area(box, fill=white if k else black, stroke=black, width=0.6))
    out.add(ink.text((x, y + 7.0), "0", SMALL, anchor="middle"))
    out.add(ink.text((x + long, y + 7.0), f"{feet} ft", SMALL, anchor="middle"))
    if most >= 120.0 and not which:
        out.add(ink.text((x, 6.0), f"1 in = {scale} ft at full print size", SMALL))
    if which:
        out.add(ink.text((x, 6.0), which, SMALL, bold=True))
    yield shapely.box(x - 14.0, 0.0, x + max(long, most) + 20.0, y + 16.0)


def truck(out: Any, first: Any, sheet: Sheet) -> Iterator[Any]:
    """An arrow up the page, below the first section to paint."""
    x = min(max(float(first.centroid.x), 30.0), sheet.width_pt - 30.0)
    out.add(ink.arrow((x, 14.0), 24.0))
    out.add(ink.text((x, 5.0), "TRAVEL", SMALL, anchor="middle", bold=True))
    yield shapely.box(x - 16.0, 3.0, x + 16.0, 40.0)


def around_parts(shape: Any) -> Any:
    """A dotted edge that holds the parts of one section together."""
    edge = shapely.box(*shape.bounds).buffer(2.0, join_style="mitre").exterior
    return ink.polyline(edge.coords, 0.4, [1, 1.5])


def free_beside(wide_pt: float, y: float, window: Any, obstacles: Sequence[Any]) -> Any | None:
    """The free box for words above or below a level line that is farthest to the right."""
    west, _, east, _ = window.bounds
    for x in np.arange(east - wide_pt - 8.0, west + 4.0, -6.0):
        for low in (y + 2.0, y - SMALL - 3.0):
            box = shapely.box(x, low, x + wide_pt + 4.0, low + SMALL + 1.0)
            if window.contains(box) and not any(box.intersects(o) for o in obstacles):
                return box
    return None


def line_words(out: Any, drawn: Any, words: str, said: Sequence[Any]) -> Iterator[Any]:
    """Words below the lower end of a line, where nothing is said yet."""
    ends = [xy for p in shapely.get_parts(drawn) if p.geom_type == "LineString" for xy in p.coords]
    if not ends:
        return
    x = min(ends, key=lambda xy: xy[1])[0]
    half = ink.text_width(words, SMALL) / 2.0
    y = BELOW_PT - 12.0 - SMALL - 2.0
    box = shapely.box(x - half, y - 1.0, x + half, y + SMALL)
    if not any(box.intersects(other) for other in said):
        out.add(ink.text((x, y), words, SMALL, anchor="middle"))
        yield box
