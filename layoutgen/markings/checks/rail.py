"""What the standard asks before rail crossings."""

from __future__ import annotations

import math
from typing import Any

import shapely

from layoutgen.markings.approaches import (
    STOPPING_FT,
    Approach,
    approaches,
    stopping_ft,
    to_rail_ft,
)
from layoutgen.markings.checks.places import depth_ft, rail_near
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    Part,
    color_check,
    within,
)
from layoutgen.street.design import Block

RAIL = ("rail_crossing",)
STOP = ("stop_line",)
#: room an approach needs for its marking and its stop line; else the block before holds them
_ROOM_FT = 140.0


def _lines(paint: Paint) -> list[Part]:
    """Pieces whose long side runs across the travel, but for the envelope's beside the rails."""
    if rail_near(paint) is not None:
        return []
    return [p for p in paint.parts if abs(p.turn_deg) > 60.0 and p.along_ft < 6.0]


def _x(paint: Paint) -> Part | None:
    """The X: the longest piece of a symbol."""
    longest = max(paint.parts, key=lambda p: p.along_ft)
    return longest if longest.along_ft > 12.0 else None


def _of_x(test: Any) -> Any:
    def ask(paint: Paint, laid: LaidOut) -> str | None:
        x = _x(paint)
        return None if x is None else test(paint, x, laid)

    return ask


def _elements(block: Block, laid: LaidOut) -> str | None:
    """RAIL-01 where RAIL-02 requires it and the block has the room."""
    if block.segment.street_class in ("alley", "path") or not block.rail_crossings:
        return None
    found = laid.on_segment(block.segment, "rail_crossing")
    for crossing in block.rail_crossings:
        if crossing.control not in ("signal", "gates") and block.segment.speed_mph < 40.0:
            continue
        for approach in approaches(block):
            rail = approach.at(crossing.station_ft)
            if approach.begin_ft - rail < _ROOM_FT + to_rail_ft(crossing):
                continue
            own = [p for p in found if approach.at(p.station_ft) - rail > 20.0]
            xs = sum(_x(p) is not None for p in own)
            lines = sum(len(_lines(p)) for p in own if _faces(p, approach))
            if xs < len(approach.lanes) or lines < 2:
                return f"before {crossing.crossing_id}: {xs} X, {lines} transverse lines"
    return None


def _faces(paint: Paint, approach: Approach) -> bool:
    """Whether a marking lies on the lanes of an approach."""
    left, right = approach.sides_ft
    offset = -paint.offset_ft if approach.way == 1 else paint.offset_ft
    return left - 1.0 <= offset <= right + 1.0


def _line_width(paint: Paint, _: LaidOut) -> str | None:
    wrong = [p.short_ft for p in _lines(paint) if not within(p.short_ft, 2.0, 2.0)]
    return f"line {wrong[0] / INCH:.1f} in wide" if wrong else None


def _overall(paint: Paint, _: LaidOut) -> str | None:
    if len(_lines(paint)) < 2:
        return None
    along = paint.extent_ft[0]
    # on a curve each line is square to its own piece of the axis
    return None if abs(along - 50.0) <= 0.5 else f"{along:.1f} ft over both lines"


def _stroke(_paint: Paint, x: Part, _: LaidOut) -> str | None:
    """Arms vanish when 16 in are taken off both sides together, not when less is."""
    half = 16.0 * INCH / 2
    kept = shapely.buffer(x.shape, -(half - 0.5 * INCH)).bounds
    gone = shapely.buffer(x.shape, -(half + 0.5 * INCH)).bounds
    if math.isnan(kept[0]) or math.dist(kept[:2], kept[2:]) < 0.7 * x.along_ft:
        return "arms narrower than 16 in"
    if not math.isnan(gone[0]) and math.dist(gone[:2], gone[2:]) > 0.5 * x.along_ft:
        return "arms wider than 16 in"
    return None


def _clear(_paint: Paint, x: Part, laid: LaidOut) -> str | None:
    """15 ft between the ends of the X and the outer edges of the lines, which are 2 ft wide."""
    found = [p for p in laid.near(x.shape, 25.0, RAIL) if _lines(p)]
    away = [float(shapely.distance(x.shape, p.shape)) for p in found]
    if not away or within(min(away), 12.9, 15.1):
        return None
    return f"{min(away):.1f} ft from the X to a line"


def _length(_paint: Paint, x: Part, _: LaidOut) -> str | None:
    return None if within(x.along_ft, 20.0, 20.0) else f"X {x.along_ft:.2f} ft long"


def _letters(paint: Paint, x: Part, _: LaidOut) -> str | None:
    letters = [p.along_ft for p in paint.parts if p is not x]
    if len(letters) != 2:
        return f"{len(letters)} letters beside the X"
    wrong = [long for long in letters if not within(long, 6.0, 6.0)]
    return f"R {wrong[0]:.2f} ft high" if wrong else None


def _x_width(_paint: Paint, x: Part, _: LaidOut) -> str | None:
    return None if within(x.across_ft, 6.6, 12.0) else f"X {x.across_ft:.1f} ft wide"


def _to_stop(paint: Paint, laid: LaidOut) -> str | None:
    if not _lines(paint) or paint.segment is None:
        return None
    stops = [
        p
        for p in laid.on_segment(paint.segment, "stop_line")
        if rail_near(p) is not None
        and math.cos(math.radians(p.bearing_deg - paint.bearing_deg)) > 0.0
    ]
    away = [float(shapely.distance(paint.shape, p.shape)) for p in stops]
    near = [a for a in away if a < 49.99]
    return f"{near[0]:.0f} ft from the stop line" if near else None


def _stop_distance(paint: Paint, _: LaidOut) -> str | None:
    crossing = rail_near(paint)
    if crossing is None:
        return None
    depth = min(depth_ft(p.shape, paint.bearing_deg) for p in paint.parts)
    away = abs(paint.station_ft - crossing.station_ft) - depth / 2 - to_rail_ft(crossing)
    return None if away >= 14.9 else f"{away:.1f} ft from the nearest rail"


def _stop_width(paint: Paint, _: LaidOut) -> str | None:
    if rail_near(paint) is None:
        return None
    wide = min(depth_ft(p.shape, paint.bearing_deg) for p in paint.parts)
    return None if within(wide, 2.0, 2.0) else f"{wide / INCH:.1f} in wide"


def _envelope(paint: Paint, _: LaidOut) -> str | None:
    if rail_near(paint) is None:
        return None
    wide = [p.short_ft for p in paint.parts if p.long_ft > 3 * p.short_ft and p.along_ft < 6.0]
    wrong = [w for w in wide if not within(w, 4 * INCH, 24 * INCH)]
    return f"line {wrong[0] / INCH:.1f} in wide" if wrong else None


def _advance(speed_mph: int) -> Any:
    """The middle of the X stands at least as far out as the advance warning sign should."""

    def test(paint: Paint, _x: Part, _: LaidOut) -> str | None:
        segment = paint.segment
        if segment is None or stopping_ft(segment.speed_mph) != STOPPING_FT[speed_mph]:
            return None
        own = segment.rail_crossings
        if not own:
            return None
        away = min(abs(paint.station_ft - c.station_ft) - to_rail_ft(c) for c in own)
        wanted = STOPPING_FT[speed_mph]
        return None if away >= wanted - 1.0 else f"{away:.0f} of {wanted:g} ft before the rail"

    return _of_x(test)


CHECKS = (
    Check("RAIL-01", "X, R R and lines on every approach", _elements, on="block"),
    Check("RAIL-02", "X, R R and lines where required", _elements, on="block"),
    color_check("RAIL-01", RAIL, ("white",)),
    Check("RAIL-03", "transverse lines of 24 in", _line_width, RAIL),
    Check("RAIL-04", "50 ft over both lines", _overall, RAIL),
    Check("RAIL-05", "X of 16 in strokes", _of_x(_stroke), RAIL),
    Check("RAIL-06", "15 ft from the lines to the X", _of_x(_clear), RAIL),
    Check("RAIL-07", "X 20 ft long", _of_x(_length), RAIL),
    Check("RAIL-08", "two R, 6 ft high", _of_x(_letters), RAIL),
    Check("RAIL-09", "X 8 ft wide, or to the lane", _of_x(_x_width), RAIL),
    Check("RAIL-11", "50 ft from the second line to the stop line", _to_stop, RAIL),
    Check("RAIL-12", "stop line 15 ft before the nearest rail", _stop_distance, STOP),
    Check("RAIL-14", "California: stop line of 24 in", _stop_width, STOP),
    Check("RAIL-17", "envelope lines of 4 to 24 in", _envelope, RAIL),
    *(
        Check(f"ADV-{k:02d}", f"X at {speed} mph {far:g} ft before the rail", _advance(speed), RAIL)
        for k, (speed, far) in enumerate(STOPPING_FT.items(), start=1)
    ),
)  # fmt: skip
