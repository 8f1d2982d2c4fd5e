"""What is asked of dotted extensions (MUTCD 11th edition 3A.04, 3B.11)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.markings.checks.patterns import gap_check, is_solid, piece_check, usual_width_ft
from layoutgen.markings.conformity import Check, LaidOut, Paint, tolerance_ft

EXTENSION = ("dotted_extension",)
_LINES = ("center_line", "lane_line", "edge_line", "channelizing_line")
#: how far from its end the line lies that is extended: a crosswalk and a stop line are between
_BACK_FT = 60.0
#: how far beside the way of the extension it may lie there
_ASIDE_FT = 1.5


def extended(paint: Paint, laid: LaidOut) -> list[Paint]:
    """The lines that an extension goes on from, at either end."""
    out: dict[str, Paint] = {}
    # a stub left where another line crosses does not show the way
    whole = [p for p in paint.parts if p.long_ft > 2 * p.short_ft] or list(paint.parts)
    for part in (whole[0], whole[-1]):
        ring = shapely.get_coordinates(shapely.oriented_envelope(part.shape))[:4]
        sides = np.diff(ring[:3], axis=0)
        way = sides[int(np.argmax(np.hypot(*sides.T)))]
        way = way / math.hypot(*way)
        middle = ring.mean(axis=0)
        ray = shapely.LineString([middle - way * _BACK_FT, middle + way * _BACK_FT])
        found = laid.near(ray, _ASIDE_FT, _LINES)
        along = [p for p in found if _parallel(p, way)]
        near = min(along, key=lambda p: float(part.shape.distance(p.shape)), default=None)
        if near is not None:
            out[near.marking_id] = near
    return list(out.values())


def _parallel(paint: Paint, way: NDArray[np.float64]) -> bool:
    t = math.radians(paint.bearing_deg)
    return abs(math.sin(t) * float(way[0]) + math.cos(t) * float(way[1])) > 0.9


def _of_line(row: str, text: str, test: Callable[[Paint, Paint], str | None]) -> Check:
    def asked(paint: Paint, laid: LaidOut) -> str | None:
        return next((said for p in extended(paint, laid) if (said := test(paint, p))), None)

    return Check(row, text, asked, EXTENSION)


def _wide(paint: Paint, line: Paint) -> str | None:
    own, wanted = usual_width_ft(paint), usual_width_ft(line)
    if own >= wanted - tolerance_ft():
        return None
    return f"{own * 12:.1f} in wide, {line.marking_id} {wanted * 12:.1f} in"


def _colored(paint: Paint, line: Paint) -> str | None:
    return (
        f"is {paint.color}, {line.marking_id} {line.color}" if line.color != paint.color else None
    )


def _single(paint: Paint, _: LaidOut) -> str | None:
    """Pieces that lie side by side make a double line."""
    shapes = np.array([p.shape for p in paint.parts], dtype=object)
    width = min(p.short_ft for p in paint.parts)
    pairs = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=2.5 * width)
    for i, j in zip(*pairs.tolist(), strict=True):
        both = shapely.oriented_envelope(shapely.union(shapes[i], shapes[j]))
        ring = shapely.get_coordinates(both)[:3]
        if i < j and min(np.hypot(*np.diff(ring, axis=0).T)) > 2.0 * width:
            return "a double line"
    return None


def _dotted(paint: Paint, _: LaidOut) -> str | None:
    return "a solid line" if is_solid(paint) and paint.parts[0].long_ft > 6.0 else None


CHECKS = (
    piece_check("LINE-08", EXTENSION, 2.0, 2.0),
    gap_check("LINE-09", EXTENSION, 2.0, 6.0),
    _of_line("LINE-10", "at least as wide as the line it extends", _wide),
    _of_line("LINE-22", "at least as wide as the line it extends (2003 edition)", _wide),
    _of_line("LINE-11", "in the color of the line it extends", _colored),
    Check("LINE-12", "a double line goes on as a single one", _single, EXTENSION),
    Check("LINE-13", "the center line goes on dotted", _dotted, EXTENSION, ("center_line",)),
    piece_check("LINE-21", EXTENSION, 2.0, 2.0, ("edge_line",)),
    gap_check("LINE-21", EXTENSION, 10.0, 10.0, ("edge_line",)),
)
