"""What is asked of all paint, and of lines along the street by the traffic on either side."""

from __future__ import annotations

from layoutgen.markings.conformity import ANY, Check, LaidOut, Paint, color_check
from layoutgen.street.design import Leg, Strip

COLORS = ("white", "yellow", "green", "red", "blue", "purple", "black")
#: kinds of lines along the street whose color says which traffic they part
LINES = ("center_line", "lane_line", "edge_line")
_DRIVEN = ("travel_lane", "turn_lane", "center_turn_lane")
#: from the middle of a line to the strips on either side
_ASIDE_FT = 1.5


def beside(paint: Paint) -> tuple[Strip | None, Strip | None]:
    """Strips left and right of a line, seen along the axis of its segment; None = off the road.

    Where it lies whole beside the turn pocket of a leg, the pocket counts, not the center lane.
    """
    if paint.segment is None:
        return None, None
    strips = paint.segment.strips
    if paint.leg is not None and _in_pocket(paint, paint.leg):
        own = paint.leg.strips
        strips = tuple(s.reversed() for s in own) if paint.leg.at_end else own
    left, right = (
        next((s for s in strips if s.left_ft <= at <= s.right_ft), None)
        for at in (paint.left_ft - _ASIDE_FT, paint.right_ft + _ASIDE_FT)
    )
    return left, right


def _in_pocket(paint: Paint, leg: Leg) -> bool:
    length = leg.segment.length_ft
    far = length - paint.from_ft if leg.at_end else paint.to_ft
    return leg.pocket_ft > 0.0 and far <= leg.layout.inbound_end.station_ft + leg.pocket_ft + 5.0


def _asked(paint: Paint, laid: LaidOut) -> tuple[str, str]:
    """(color, why) that the traffic on either side asks for; empty where it says nothing."""
    left, right = beside(paint)
    driven = [s for s in (left, right) if s is not None and s.kind in _DRIVEN]
    ways = {s.direction for s in driven}
    if len(driven) == 2 and ways in ({1}, {-1}):
        return "white", "parts traffic of one direction"
    if len(driven) == 2 and ways != {0}:
        return "yellow", "parts traffic of opposing directions"
    if len(driven) == 1 and paint.kind == "edge_line" and ways <= {1, -1}:
        lane = driven[0]
        on_right = (lane is left) == (lane.direction == 1)
        curb_side = on_right == (laid.design.driving_side == "right")
        return ("white", "is a right edge") if curb_side else ("yellow", "is a left edge")
    return "", ""


def _color_by_traffic(row: str, wanted: str, text: str) -> Check:
    def test(paint: Paint, laid: LaidOut) -> str | None:
        color, why = _asked(paint, laid)
        return f"{why} and is {paint.color}" if color == wanted != paint.color else None

    fix = f"paint it {wanted}, or check the lanes and directions of the street"
    return Check(row, text, test, LINES, fix=fix)


def _state_line(paint: Paint, _: LaidOut) -> str | None:
    """Lines along a numbered route: 6 in, measured on their longest piece."""
    if paint.segment is None or not paint.segment.route or not paint.parts:
        return None
    width = max(paint.parts, key=lambda p: p.long_ft).short_ft
    return f"{width * 12:.1f} in wide on {paint.segment.route}" if width < 0.45 else None


CHECKS = (
    Check("LINE-17", "lines of numbered routes at least 6 in wide", _state_line, LINES),
    color_check("LINE-14", (ANY,), COLORS),
    _color_by_traffic("LINE-15", "yellow", "yellow between opposing directions, and left edges"),
    _color_by_traffic("LINE-16", "white", "white between lanes of one direction, and right edges"),
)
