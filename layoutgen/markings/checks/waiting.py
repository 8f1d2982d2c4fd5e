"""What the standard asks of stop lines, yield lines and yield-ahead triangles."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from layoutgen.markings.bike_ends import bikes_beside, waiting_bikes
from layoutgen.markings.checks.places import (
    across_gaps,
    by_side,
    depth_ft,
    from_area,
    leg_place,
    nearest,
    rail_near,
    waits_at,
    way_of,
)
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint, color_check, within
from layoutgen.street.design import Leg

STOP, YIELD = ("stop_line",), ("yield_line",)
#: how far ahead of an advance line its crosswalk may be looked for
_LOOK_FT = 80.0
#: stop lines of one place lie within this distance of each other
_STAGGER_FT = 50.0


def _depth(low_in: float, high_in: float) -> Any:
    def test(paint: Paint, _: LaidOut) -> str | None:
        for part in paint.parts:
            depth = depth_ft(part.shape, paint.bearing_deg)
            if not within(depth, low_in * INCH, high_in * INCH):
                return f"{depth / INCH:.1f} in wide"
        return None

    return test


def _across(paint: Paint, laid: LaidOut) -> str | None:
    """Whether the stop lines of one place, staggered or not (STOP-07), leave an approach lane
    open, or the bike lane beside them."""
    leg, segment = waits_at(paint), paint.segment
    if segment is None or (leg is not None and leg.segment is not segment):
        return None
    way = way_of(paint, laid.design)
    if leg is not None:
        lanes = (*leg.inbound, *waiting_bikes(leg))
        lanes = tuple(s.reversed() for s in lanes) if leg.at_end else lanes
    else:
        lanes = segment.lanes(way)
        lanes = (*lanes, *bikes_beside(lanes, segment.strips)) if lanes else ()
    lines = [
        p
        for p in laid.on_segment(segment, "stop_line")
        if way_of(p, laid.design) == way and abs(p.station_ft - paint.station_ft) < _STAGGER_FT
    ]
    spans = [(p.left_ft, p.right_ft) for p in lines]
    bare = [s for s in lanes if not any(a <= s.center_ft <= b for a, b in spans)]
    words = bare[0].kind.replace("_", " ") if bare else ""
    return f"does not reach over a {words}" if bare else None


def _from_crosswalk(paint: Paint, laid: LaidOut) -> str | None:
    leg = waits_at(paint)
    if leg is None or leg.circular:
        return None
    near = nearest(paint, laid, "crosswalk", 4.0)
    if near is None or within(near[0], 4.0, 1e9):
        return None
    return f"{near[0]:.2f} ft from crosswalk {near[1].marking_id}"


def _from_curb(most_ft: float) -> Any:
    def test(paint: Paint, laid: LaidOut) -> str | None:
        leg = waits_at(paint)
        if leg is None or leg.circular or _has_crosswalk(leg, laid):
            return None
        away = from_area(paint, leg, laid)
        # the curb line is a model of the street: half a foot of doubt
        if away is None or 3.5 <= away <= most_ft + 0.5:
            return None
        return f"{away:.1f} ft from the crossing roadway"

    return test


def _has_crosswalk(leg: Leg, laid: LaidOut) -> bool:
    """Whether a crosswalk lies on the leg, or on the other carriageway for both."""
    twin = leg.twin.leg_id if leg.twin else ""
    if any(waits_at(p) is not None for p in laid.on_leg(leg, "crosswalk")):
        return True
    return any(p.leg is not None and p.leg.leg_id == twin for p in _near_leg(leg, laid))


def _near_leg(leg: Leg, laid: LaidOut) -> list[Paint]:
    return laid.on_segment(leg.segment, "crosswalk") if leg.twin else []


def _advance(paint: Paint, laid: LaidOut) -> str | None:
    """STOP-04, of lines that no intersection and no rail asks for."""
    if waits_at(paint) is not None or rail_near(paint) is not None:
        return None
    near = _in_block(paint, laid)
    if near is None or _is_exempt(paint, near[1], laid) or within(near[0], 20.0, 50.0):
        return None
    return f"{near[0]:.1f} ft from crosswalk {near[1].marking_id}"


def _in_block(paint: Paint, laid: LaidOut) -> tuple[float, Paint] | None:
    """(distance, marking) of the nearest crosswalk, where it lies inside a block."""
    near = nearest(paint, laid, "crosswalk", _LOOK_FT)
    return near if near is not None and waits_at(near[1]) is None else None


def _is_exempt(paint: Paint, crosswalk: Paint, laid: LaidOut) -> bool:
    """Whether a line may stand nearer: at a signal, or where a sign faces one lane."""
    control = _control(crosswalk, laid)
    return control == "signal" or (control in ("stop", "yield") and _lanes(paint, laid) < 2)


def _lanes(paint: Paint, laid: LaidOut) -> int:
    """Lanes of the traffic that reads a marking."""
    segment = paint.segment
    if segment is None:
        return 0
    return len(segment.lanes(way_of(paint, laid.design)))


def _control(crosswalk: Paint, laid: LaidOut) -> str:
    """What stops traffic at a crosswalk, as far as the street model knows."""
    leg = waits_at(crosswalk)
    if leg is not None:
        return leg.control
    block = laid.design.blocks[crosswalk.segment.index] if crosswalk.segment else None
    points = block.crossings if block is not None else ()
    near = [p for p in points if abs(p.station_ft - crosswalk.station_ft) < 30.0]
    return min(near, key=lambda p: abs(p.station_ft - crosswalk.station_ft)).control if near else ""


def _before_circle(paint: Paint, laid: LaidOut) -> str | None:
    """STOP-05: nothing to wait at outside of the crosswalk of a circular intersection."""
    leg = waits_at(paint)
    if leg is None or not leg.circular or not leg.inbound:
        return None
    walks = [w for w in laid.on_leg(leg, "crosswalk") if waits_at(w) is not None]
    out = [w for w in walks if leg_place(w, leg)[0] < leg_place(paint, leg)[0]]
    return f"lies before crosswalk {out[0].marking_id}" if out else None


def _at_yield(paint: Paint, _: LaidOut) -> str | None:
    leg = waits_at(paint)
    return f"YIELD controls {leg.leg_id}" if leg is not None and leg.control == "yield" else None


def _without_yield(paint: Paint, laid: LaidOut) -> str | None:
    leg = waits_at(paint)
    if leg is not None:
        yields = leg.control == "yield" or leg.circular
        return None if yields else f"nothing tells {leg.leg_id} to yield"
    return None if nearest(paint, laid, "crosswalk", _LOOK_FT) else "no crosswalk ahead to yield at"


def _midblock_kind(paint: Paint, laid: LaidOut) -> str | None:
    if waits_at(paint) is not None or rail_near(paint) is not None:
        return None
    near = _in_block(paint, laid)
    if near is None or _control(near[1], laid) in ("signal", "yield"):
        return None
    return "a yield line, where a stop line belongs"


def _missing_advance(block: Any, laid: LaidOut) -> str | None:
    """STOP-04 on approaches of several lanes to a painted crosswalk that nothing controls."""
    walks = [w for w in laid.on_segment(block.segment, "crosswalk") if waits_at(w) is None]
    for walk in walks:
        if _control(walk, laid) == "signal":
            continue
        for way in (1, -1):
            if len(block.segment.lanes(way)) < 2:
                continue
            lines = laid.on_segment(block.segment, "stop_line", "yield_line")
            ahead = [(walk.station_ft - p.station_ft) * way for p in lines]
            if not any(15.0 < away < 75.0 for away in ahead):
                return f"no yield or stop line ahead of {walk.marking_id}"
    return None


def _teeth(paint: Paint) -> list[tuple[float, float]]:
    """(base, height) of every triangle, ft: a base on a slope keeps its area."""
    found = ((p.across_ft, p.shape.area) for p in paint.parts)
    return [(base, 2 * area / base) for base, area in found if base > 0]


def _base(paint: Paint, _: LaidOut) -> str | None:
    wrong = [b for b, _ in _teeth(paint) if not within(b, 12 * INCH, 24 * INCH)]
    return f"base of {wrong[0] / INCH:.1f} in" if wrong else None


def _height(paint: Paint, _: LaidOut) -> str | None:
    wrong = [h / b for b, h in _teeth(paint) if not within(h / b, 1.5, 1.5)]
    return f"{wrong[0]:.2f} times as high as wide" if wrong else None


def _tooth_gaps(paint: Paint, _: LaidOut) -> str | None:
    row = by_side([p.shape for p in paint.parts], paint.bearing_deg)
    found = across_gaps(row, paint.bearing_deg)
    wrong = [g for g in found if g < 3 * INCH - 0.005 or 12 * INCH + 0.005 < g < 5.0]
    return f"{wrong[0] / INCH:.1f} in between triangles" if wrong else None


def _pointing(paint: Paint, _: LaidOut) -> str | None:
    """The center of a triangle lies nearer its base, which must be the far side."""
    t = np.radians(paint.bearing_deg)
    ahead = np.array([np.sin(t), np.cos(t)])
    for part in paint.parts:
        along = shapely.get_coordinates(part.shape) @ ahead
        middle = (along.min() + along.max()) / 2
        center = float(np.array([part.shape.centroid.x, part.shape.centroid.y]) @ ahead)
        if center < middle - 0.01:
            return "triangles point away from the traffic that comes"
    return None


def _ahead_of_yield(paint: Paint, laid: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    block = laid.design.blocks[paint.segment.index]
    legs = [leg for leg in (block.start_leg, block.end_leg) if leg is not None]
    yields = any(leg.control == "yield" for leg in legs)
    return None if yields else "no YIELD sign at either end of the block"


def _triangle_length(paint: Paint, _: LaidOut) -> str | None:
    wanted = 20.0 if paint.segment is not None and paint.segment.speed_mph >= 45.0 else 13.0
    along = paint.extent_ft[0]
    return None if within(along, wanted, wanted) else f"{along:.1f} ft long, not {wanted:g} ft"


STOP_CHECKS = (
    Check("STOP-01", "12 to 24 in wide", _depth(12, 24), STOP),
    Check("STOP-01", "across the approach lanes and the bike lane beside them", _across, STOP),
    color_check("STOP-01", (*STOP, *YIELD), ("white",)),
    Check("STOP-02", "at least 4 ft from the crosswalk", _from_crosswalk, (*STOP, *YIELD)),
    Check("STOP-03", "4 to 30 ft from the crossing roadway", _from_curb(30.0), (*STOP, *YIELD)),
    Check("STOP-04", "20 to 50 ft before a crosswalk", _advance, (*STOP, *YIELD)),
    Check("STOP-04", "a line before uncontrolled crosswalks", _missing_advance, on="block"),
    Check("STOP-05", "none before crosswalks of circles", _before_circle, (*STOP, *YIELD)),
    Check("STOP-06", "no stop line where YIELD controls", _at_yield, STOP),
    Check("STOP-08", "California: 12 to 24 in wide", _depth(12, 24), STOP),
    Check("STOP-09", "Washington: 4 ft from the crosswalk", _from_crosswalk, STOP),
    Check("STOP-10", "Washington: 4 ft from the roadway", _from_curb(1e9), STOP),
    Check("STOP-11", "Washington: a stop line at crosswalks in blocks", _midblock_kind, YIELD),
    Check("STOP-11", "Washington: 20 to 50 ft before them", _advance, STOP),
)
YIELD_CHECKS = (
    Check("YIELD-01", "base of 12 to 24 in", _base, YIELD),
    Check("YIELD-02", "1.5 times as high as wide", _height, YIELD),
    Check("YIELD-03", "3 to 12 in between triangles", _tooth_gaps, YIELD),
    Check("YIELD-04", "triangles of at least 12 x 18 in", _base, YIELD),
    Check("YIELD-05", "triangles of at most 24 x 36 in", _base, YIELD),
    Check("YIELD-07", "point toward the traffic", _pointing, YIELD),
    Check("YIELD-08", "only where traffic must yield", _without_yield, YIELD),
)
YIELD_AHEAD_CHECKS = (
    Check("YIELD-10", "only ahead of a YIELD sign", _ahead_of_yield, ("yield_ahead",)),
    Check("YIELD-11", "from memory: 20 ft from 45 mph on, else 13 ft", _triangle_length,
          ("yield_ahead",)),
)  # fmt: skip
