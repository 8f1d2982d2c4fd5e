"""What is asked of arrows in a two-way left-turn lane (MUTCD 11th edition 3B.05)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import shapely

from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check
from layoutgen.markings.runs import shared_run
from layoutgen.street.design import Block, Strip

#: kinds that may be arrows of such a lane
ARROWS = ("turn_lane_arrow", "turn_arrow")
#: a shared lane so short has no room for a pair
_SHORT_FT = 120.0
#: just downstream of the start (common practice)
_START_FT = 150.0
#: a flush median that begins so near to the end of the lane takes it
_NEAR_FT = 50.0
#: arrows of a pair stand this near to each other
_PAIR_FT = 100.0


def _shared(block: Block) -> tuple[Strip, float, float] | None:
    """Center lane of a block and where it serves both directions."""
    center = next((s for s in block.segment.strips if s.kind == "center_turn_lane"), None)
    if center is None or block.segment.oneway != "both":
        return None
    return center, *shared_run(block, center.center_ft, center.width_ft)


def _arrows(block: Block, laid: LaidOut) -> Iterator[Paint]:
    """Arrows in the shared lane."""
    found = _shared(block)
    if found is not None:
        center, start, stop = found
        for p in laid.on_segment(block.segment, *ARROWS):
            inside = center.left_ft <= p.offset_ft <= center.right_ft
            if inside and start <= p.station_ft <= stop:
                yield p


def _way(paint: Paint, block: Block) -> int:
    """+1 for an arrow that traffic along the segment reads."""
    axis = block.segment.axis
    ends = shapely.line_interpolate_point(
        axis, [max(0.0, paint.station_ft - 1.0), paint.station_ft + 1.0]
    )
    (x0, y0), (x1, y1) = shapely.get_coordinates(ends)
    t = math.radians(paint.bearing_deg)
    return 1 if (x1 - x0) * math.sin(t) + (y1 - y0) * math.cos(t) > 0 else -1


def _at_start(block: Block, laid: LaidOut) -> str | None:
    """A pair near either end of the shared lane."""
    found = _shared(block)
    if found is None or block.inside or found[2] - found[1] < _SHORT_FT:
        return None
    start, stop = _without_islands(found[1:], laid.on_segment(block.segment, "flush_median"))
    places = [p.station_ft for p in _arrows(block, laid)]
    if not places:
        return "no arrows in the lane"
    far = max(min(places) - start, stop - max(places))
    reach = max(_START_FT, (stop - start) / 2)
    return f"no arrow within {far:.0f} ft of where the lane begins" if far > reach else None


def _without_islands(run: tuple[float, float], islands: Iterable[Paint]) -> tuple[float, float]:
    """The lane without the flush medians that take its ends."""
    start, stop = run
    for p in islands:
        if p.from_ft < start + _NEAR_FT:
            start = max(start, p.to_ft)
        elif p.to_ft > stop - _NEAR_FT:
            stop = min(stop, p.from_ft)
    return start, stop


def _paired(block: Block, laid: LaidOut) -> str | None:
    """Every arrow has one for the other direction beside it."""
    arrows = [(p.station_ft, _way(p, block), p.marking_id) for p in _arrows(block, laid)]
    for at, way, name in arrows:
        if not any(w == -way and abs(s - at) <= _PAIR_FT for s, w, _ in arrows):
            return f"{name} stands alone, for one direction"
    return None


CHECKS = (
    color_check("LINE-16", ("turn_lane_arrow",), ("white",)),
    Check("TWLTL-02", "arrows for both directions where the lane begins", _at_start, on="block"),
    Check("TWLTL-03", "no arrow for one direction alone", _paired, on="block"),
)
