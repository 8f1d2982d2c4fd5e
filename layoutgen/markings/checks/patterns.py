"""Pieces and gaps of broken and dotted lines, measured on the paint."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from layoutgen.markings.conformity import Check, LaidOut, Paint, tolerance_ft, within

#: on a bend the ends of pieces come nearer to each other on the inner side, by no more than this
_BEND_FT = 0.05


def gaps_ft(paint: Paint) -> list[float]:
    """Distance of every piece of a marking to the piece nearest to it."""
    shapes = np.array([p.shape for p in paint.parts], dtype=object)
    if len(shapes) < 2:
        return []
    tree = shapely.STRtree(shapes)
    _, far = tree.query_nearest(shapes, exclusive=True, return_distance=True, all_matches=False)
    return [float(d) for d in far]


def usual_width_ft(paint: Paint) -> float:
    """Width of most of its paint: slivers left where other paint cut it do not count."""
    parts = sorted(paint.parts, key=lambda p: p.short_ft)
    area = np.cumsum([p.shape.area for p in parts])
    return parts[int(np.searchsorted(area, area[-1] / 2))].short_ft


def line_width_check(
    row: str, kinds: Sequence[str], low_ft: float, high_ft: float, styles: Sequence[str] = ()
) -> Check:
    """Most of the paint of a line is so wide."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        width = usual_width_ft(paint)
        return None if within(width, low_ft, high_ft) else f"{width * 12:.1f} in wide"

    text = f"{low_ft * 12:g} to {high_ft * 12:g} in wide"
    return Check(row, text, test, tuple(kinds), tuple(styles))


def short_share(paint: Paint, under_ft: float) -> float:
    """Share of the length of a line that lies in pieces shorter than so; cuts leave a few."""
    lengths = np.array([p.long_ft for p in paint.parts])
    return float(lengths[lengths < under_ft].sum() / max(lengths.sum(), 1e-9))


def is_solid(paint: Paint) -> bool:
    """Whether a line has no gaps: at most one stretch that crosses other paint is cut out of it."""
    longest = max(p.long_ft for p in paint.parts)
    return longest > 15.0 or len(paint.parts) <= 2


def piece_check(
    row: str, kinds: Sequence[str], low_ft: float, high_ft: float, styles: Sequence[str] = ()
) -> Check:
    """Pieces of a line with gaps are so long; a piece cut by other paint may be shorter."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        if len(paint.parts) < 3:
            return None
        usual = float(np.median([p.long_ft for p in paint.parts]))
        slack = tolerance_ft() + _BEND_FT
        return None if low_ft - slack <= usual <= high_ft + slack else f"pieces of {usual:.1f} ft"

    text = (
        f"pieces of {low_ft:g} ft" if low_ft == high_ft else f"pieces of {low_ft:g}-{high_ft:g} ft"
    )
    return Check(row, text, test, tuple(kinds), tuple(styles))


def gap_check(
    row: str, kinds: Sequence[str], low_ft: float, high_ft: float, styles: Sequence[str] = ()
) -> Check:
    """Gaps between the pieces of a line are so long."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        gaps = gaps_ft(paint)
        if len(gaps) < 3:
            return None
        usual = float(np.median(gaps))
        slack = tolerance_ft() + _BEND_FT
        return None if low_ft - slack <= usual <= high_ft + slack else f"gaps of {usual:.1f} ft"

    text = (
        f"gaps of {low_ft:g} ft" if low_ft == high_ft else f"gaps of {low_ft:g} to {high_ft:g} ft"
    )
    return Check(row, text, test, tuple(kinds), tuple(styles))
