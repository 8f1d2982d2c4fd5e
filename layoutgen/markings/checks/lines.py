"""What is asked of center lines and lane lines (MUTCD 11th edition 3A.04, 3B.01 to 3B.07)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median

import shapely

from layoutgen.markings.checks.patterns import gaps_ft
from layoutgen.markings.conformity import (
    INCH,
    Check,
    LaidOut,
    Paint,
    tolerance_ft,
    within,
)
from layoutgen.markings.edges import traveled_ft
from layoutgen.markings.lanes import turns
from layoutgen.street.design import Block, Intersection, Leg, Segment, Strip

CENTER, LANE = ("center_line",), ("lane_line",)
LINES = ("center_line", "lane_line", "edge_line")
#: lines that the standard calls wide
_WIDE = ("entry_line", "preferential_lane")
#: lines along the street nearer to each other than this belong together
_BESIDE_FT = 1.5
#: pieces up to this length make a dotted line, longer ones a broken one
_DOT_FT = 5.0
#: a stretch between intersections so short may go without lines
_SHORT_FT = 100.0
_SHALL, _SHOULD = "CENTER-03", "CENTER-04"


def covered(paint: Paint, laid: LaidOut) -> float:
    """Painted length over length of street: 2 a double solid line, 1 a solid one, 0.25 broken.

    Strokes that a file stores apart are counted together.
    """
    length = paint.to_ft - paint.from_ft
    if length <= 0.0:
        return 0.0
    beside = [p for p in laid.near(paint.shape, _BESIDE_FT, (paint.kind,)) if p is not paint]
    return _own(paint) + sum(
        _own(p) * max(0.0, min(p.to_ft, paint.to_ft) - max(p.from_ft, paint.from_ft)) / length
        for p in beside
        if p.segment is paint.segment
    )


def _own(paint: Paint) -> float:
    return sum(p.long_ft for p in paint.parts) / max(paint.to_ft - paint.from_ft, 1e-6)


def is_dotted(paint: Paint) -> bool:
    """Whether a line is made of short pieces."""
    return len(paint.parts) > 2 and median(p.long_ft for p in paint.parts) <= _DOT_FT


def normal_ft(segment: Segment | None, laid: LaidOut) -> float:
    """Width of the normal lines of a street: the thinnest there is, 4 in where there is none."""
    lines = laid.on_segment(segment, *LINES) if segment is not None else []
    widths = (p.short_ft for line in lines for p in line.parts if p.long_ft > 2.0)
    return min(widths, default=4 * INCH)


def _single_solid(paint: Paint, laid: LaidOut) -> str | None:
    if paint.color != "yellow" or paint.segment is None or paint.segment.oneway != "both":
        return None
    long = any(p.long_ft > 15.0 for p in paint.parts)
    return "is a single solid line" if long and 0.8 < covered(paint, laid) < 1.1 else None


def _undivided(segment: Segment) -> bool:
    """Two-way streets whose directions only paint parts."""
    parted = segment.has("median") or segment.roundabout
    return segment.oneway == "both" and not parted and len(_ways(segment)) == 2


def _ways(segment: Segment) -> set[int]:
    return {s.direction for s in segment.strips if s.kind == "travel_lane"}


def _lane_count(segment: Segment) -> int:
    return len(segment.lanes(1)) + len(segment.lanes(-1))


def _long_enough(block: Block) -> bool:
    return not block.inside and block.segment.length_ft >= _SHORT_FT


def _double_on_four(block: Block, laid: LaidOut) -> str | None:
    segment = block.segment
    if not _undivided(segment) or segment.has("center_turn_lane") or _lane_count(segment) < 4:
        return None
    lines = [p for p in laid.on_segment(segment, *CENTER) if p.color == "yellow"]
    if not lines:
        return "no center line" if _long_enough(block) else None
    least = min(covered(p, laid) for p in lines)
    return None if least > 1.8 else f"center line painted over {least:.2f} of its length"


def _missing(row: str, text: str, wanted: Callable[[Segment], bool]) -> Check:
    def test(block: Block, laid: LaidOut) -> str | None:
        segment = block.segment
        if not _undivided(segment) or not _long_enough(block) or not wanted(segment):
            return None
        return None if laid.on_segment(segment, *CENTER) else "no center line"

    return Check(row, text, test, on="block")


def _busy(setting: str, least_ft: float, adt: int) -> Callable[[Segment], bool]:
    def wanted(segment: Segment) -> bool:
        through = segment.street_class in ("arterial", "collector")
        wide = traveled_ft(segment) >= least_ft - 1e-6
        return through and wide and segment.setting == setting and (segment.adt or 0) >= adt

    return wanted


def _required(segment: Segment) -> bool:
    return _lane_count(segment) >= 3 or _busy("urban", 20.0, 6000)(segment)


def _double_gap(paint: Paint, laid: LaidOut) -> str | None:
    if covered(paint, laid) < 1.1 or len(paint.parts) < 2:
        return None
    gap = min(gaps_ft(paint))
    most = 2 * max(p.short_ft for p in paint.parts)
    return None if gap <= most + tolerance_ft() else f"{gap / INCH:.1f} in between the lines"


def _pieces(paint: Paint, *, dotted: bool) -> tuple[float, float] | None:
    """Usual (piece, gap) of a broken or dotted line; None where it is something else."""
    lone = _own(paint) < 0.8 and len(paint.parts) >= 5
    if not lone or is_dotted(paint) != dotted:
        return None
    return median(p.long_ft for p in paint.parts), median(gaps_ft(paint))


def _piece(paint: Paint, long_ft: float, *, dotted: bool) -> str | None:
    found = _pieces(paint, dotted=dotted)
    wrong = found is not None and abs(found[0] - long_ft) > 0.15 * long_ft
    return f"pieces of {found[0]:.1f} ft" if wrong and found is not None else None


def _gap(paint: Paint, ratio: float, *, dotted: bool) -> str | None:
    """The gap by the ratio to the pieces: a similar ratio will do."""
    found = _pieces(paint, dotted=dotted)
    wrong = found is not None and abs(found[1] / found[0] - ratio) > 0.15 * ratio
    if not wrong or found is None:
        return None
    return f"gaps of {found[1]:.1f} ft after pieces of {found[0]:.1f} ft"


def _wide(paint: Paint, laid: LaidOut) -> str | None:
    """Lines that are asked to be wide, against the normal lines of their street."""
    line = paint.kind == "entry_line" or paint.to_ft - paint.from_ft > 20.0
    if not line or (paint.kind == "lane_line" and not is_dotted(paint)):
        return None
    thin = median(min(p.short_ft, p.long_ft) for p in paint.parts)
    least = 2 * normal_ft(paint.segment, laid)
    return None if thin >= least - tolerance_ft() else f"{thin / INCH:.1f} in wide"


def _wide_drop(paint: Paint, laid: LaidOut) -> str | None:
    """Dotted lane lines mark lanes that end or must turn: they are wide and white."""
    if not is_dotted(paint):
        return None
    return _wide(paint, laid) or (None if paint.color == "white" else f"is {paint.color}")


def _turn_lines(leg: Leg, laid: LaidOut) -> list[list[Paint]] | None:
    """Lines between each pair of inbound lanes of which one must turn and the other need not."""
    if len(leg.movements) != len(leg.inbound) or leg.segment.roundabout:
        return None
    must = [turns(m) == "must" for m in leg.movements]
    out = []
    for k in range(len(must) - 1):
        if must[k] != must[k + 1] and "none" not in (*leg.movements[k], *leg.movements[k + 1]):
            out.append(_at(leg, _edge(leg.inbound[k], leg.inbound[k + 1]), laid))
    return out


def _edge(a: Strip, b: Strip) -> float:
    return a.right_ft if a.center_ft < b.center_ft else a.left_ft


def _at(leg: Leg, offset_ft: float, laid: LaidOut) -> list[Paint]:
    """Solid lane lines at an offset of a leg, on the last 100 ft before it."""
    own = -offset_ft if leg.at_end else offset_ft
    length = leg.segment.length_ft
    near = (length - 150.0, length) if leg.at_end else (0.0, 150.0)
    return [
        p
        for p in laid.on_segment(leg.segment, *LANE)
        if p.left_ft - 1.0 <= own <= p.right_ft + 1.0
        and p.to_ft > near[0]
        and p.from_ft < near[1]
        and _own(p) > 0.8
    ]


def _solid_beside_turn(leg: Leg, laid: LaidOut) -> str | None:
    lines = _turn_lines(leg, laid)
    room = leg.room_ft - leg.layout.inbound_end.station_ft
    if not lines or room < 40.0:
        return None
    bare = sum(not found for found in lines)
    return f"no solid line beside {bare} lanes that must turn" if bare else None


def _turn_line_width(leg: Leg, laid: LaidOut) -> str | None:
    found = [p for lines in _turn_lines(leg, laid) or () for line in lines for p in line.parts]
    thin = min((p.short_ft for p in found), default=8 * INCH)
    return None if within(thin, 8 * INCH, 1e9) else f"line beside a turn lane {thin / INCH:.1f} in"


def _center_strip(segment: Segment) -> Strip | None:
    return next((s for s in segment.strips if s.kind == "center_turn_lane"), None)


def _turn_lane_edge(paint: Paint, laid: LaidOut) -> str | None:
    """Broken toward the two-way left-turn lane, solid on the other side."""
    strip = _center_strip(paint.segment) if paint.segment is not None else None
    if strip is None or paint.color != "yellow" or covered(paint, laid) > 1.8:
        return None
    middle = (paint.left_ft + paint.right_ft) / 2
    long = [p for p in paint.parts if p.long_ft > 15.0]
    short = [p for p in paint.parts if p.long_ft <= 15.0]
    if not long or not short:
        return "all solid" if long else "no solid line"
    axis = laid.design.axes.lines()[paint.segment.index] if paint.segment else None
    far = _off_middle(axis, long, strip) - _off_middle(axis, short, strip)
    outer = far > 0.0 or abs(middle - strip.center_ft) > strip.width_ft
    return None if outer else "the solid line lies toward the turn lane"


def _off_middle(axis: object, parts: Sequence[object], strip: Strip) -> float:
    """Mean distance of pieces from the middle of a strip, measured along the axis."""
    middle = shapely.offset_curve(axis, -strip.center_ft)
    return float(sum(shapely.distance(middle, p.shape) for p in parts) / len(parts))  # type: ignore[attr-defined]


def _into_crossing(crossing: Intersection, laid: LaidOut) -> str | None:
    """Lines of a two-way left-turn lane that lead on into an intersection."""
    if crossing.area is None or shapely.is_empty(crossing.area):
        return None
    for paint in laid.near(crossing.area, 0.0, CENTER):
        turn_lane = paint.segment is not None and _center_strip(paint.segment) is not None
        inside = shapely.intersection(paint.shape, crossing.area).area
        if turn_lane and inside > 0.5:
            return f"{paint.marking_id} lies {inside:.1f} sq ft inside"
    return None


def _arrows_in_turn_lane(block: Block, laid: LaidOut) -> str | None:
    strip = _center_strip(block.segment)
    if strip is None or block.segment.length_ft < 300.0:
        return None
    arrows = laid.on_segment(block.segment, "turn_arrow")
    own = [p for p in arrows if strip.left_ft < p.offset_ft < strip.right_ft]
    return None if own else "no arrows in the two-way left-turn lane"


def _state_width(paint: Paint, _: LaidOut) -> str | None:
    """Lines of State highways, which a route number of State, US or Interstate tells."""
    route = paint.segment.route.upper() if paint.segment is not None else ""
    if not route.startswith(("SR", "CA", "US", "I-", "I ")) or paint.color == "black":
        return None
    thin = median(p.short_ft for p in paint.parts)
    return None if within(thin, 6 * INCH, 1e9) else f"{thin / INCH:.1f} in wide"


def _black_between(paint: Paint, _: LaidOut) -> str | None:
    if paint.color != "black":
        return None
    wide = max(p.short_ft for p in paint.parts)
    return None if within(wide, 3 * INCH, 3 * INCH) else f"black line {wide / INCH:.1f} in wide"


def _width(row: str, kinds: Sequence[str], low_ft: float, high_ft: float) -> Check:
    """Width of lines; stubs that other paint leaves of a piece tell nothing."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        widths = [p.short_ft for p in paint.parts if p.long_ft > 2.0 and paint.color != "black"]
        wrong = [w for w in widths if not within(w, low_ft, high_ft)]
        return f"{wrong[0] / INCH:.1f} in wide" if wrong else None

    text = f"lines {low_ft / INCH:g} to {high_ft / INCH:g} in wide"
    return Check(row, text, test, tuple(kinds))


CENTER_CHECKS = (
    _width("LINE-01", CENTER, 4 * INCH, 6 * INCH),
    Check("LINE-03", "the gap of a double line at most twice a line", _double_gap, CENTER),
    Check("CENTER-01", "no single solid center line", _single_solid, CENTER),
    Check("CENTER-02", "four lanes and more: double solid yellow", _double_on_four, on="block"),
    _missing(_SHALL, "center line on busy streets, and from three lanes on", _required),
    _missing(_SHOULD, "center line on urban streets of 4000 a day", _busy("urban", 20.0, 4000)),
    _missing("CENTER-05", "center line on rural roads of 3000 a day", _busy("rural", 18.0, 3000)),
    Check("TWLTL-01", "edges of turn lanes solid outside, broken inside", _turn_lane_edge, CENTER),
    Check("TWLTL-02", "arrows in two-way left-turn lanes", _arrows_in_turn_lane, on="block"),
    Check("TWLTL-04", "turn lane lines end at intersections", _into_crossing, on="intersection"),
    Check("LINE-19", "California: black between yellow lines 3 in", _black_between, CENTER),
)
LANE_CHECKS = (
    _width("LINE-01", LANE, 4 * INCH, 12 * INCH),
    Check("LINE-02", "wide lines at least twice a normal line", _wide, (*_WIDE, *LANE)),
    Check("LINE-04", "broken lines of 10 ft pieces",
          lambda p, _: _piece(p, 10.0, dotted=False), (*CENTER, *LANE)),
    Check("LINE-05", "gaps three times the pieces of a broken line",
          lambda p, _: _gap(p, 3.0, dotted=False), (*CENTER, *LANE)),
    Check("LINE-06", "dotted lane lines of 3 ft pieces",
          lambda p, _: _piece(p, 3.0, dotted=True), LANE),
    Check("LINE-07", "gaps three times the pieces of a dotted lane line",
          lambda p, _: _gap(p, 3.0, dotted=True), LANE),
    Check("LANE-01", "solid line beside lanes that must turn", _solid_beside_turn, on="approach"),
    Check("LANE-03", "dotted lane lines wide and white", _wide_drop, LANE),
    Check("LANE-05", "California: 8 in beside turn lanes", _turn_line_width, on="approach"),
    Check("LINE-17", "California: 6 in lines on State highways", _state_width, LINES),
    _width("LINE-18", LINES, 4 * INCH, 1.0),
)  # fmt: skip
