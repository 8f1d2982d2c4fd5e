"""What the standard asks of lanes for buses, carpools and taxis, measured on the paint."""

from __future__ import annotations

from layoutgen.markings.conformity import Check, LaidOut, Paint, color_check, within
from layoutgen.markings.preferential import lane_ends
from layoutgen.street.design import Block, Segment, Strip

#: longer markings are lines, no figures (ft)
_FIGURE_FT = 20.0
#: a shorter lane may be too short for any figure (ft)
_LEAST_FT = 100.0


def _diamond_width(paint: Paint, _: LaidOut) -> str | None:
    wide = paint.extent_ft[1]
    return None if within(wide, 2.5, 20.0) else f"{wide:.2f} ft wide"


def _diamond_length(paint: Paint, _: LaidOut) -> str | None:
    long = paint.extent_ft[0]
    return None if within(long, 12.0, 60.0) else f"{long:.2f} ft long"


def _diamond_stroke(paint: Paint, _: LaidOut) -> str | None:
    """Mean width of its lines: paint over the length of the middle lines of its four sides."""
    long, wide = paint.extent_ft
    side = (long**2 + wide**2) ** 0.5 / 2
    # four sides of stroke t on an outline l by w: area = 4 (side t) - corners shared, nearly
    stroke = paint.shape.area / (4 * side) * (1 + paint.shape.area / (long * wide))
    return None if stroke >= 0.5 - 0.02 else f"lines of {stroke * 12:.1f} in"


def _centered(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None:
        return None
    lanes = [s for s in paint.segment.strips if s.kind == "travel_lane"]
    off = min((abs(s.center_ft - paint.offset_ft) for s in lanes), default=0.0)
    return f"{off:.1f} ft beside the middle of its lane" if off > 1.0 else None


_KINDS = ("preferential_lane",)


def _wide(paint: Paint, _: LaidOut) -> str | None:
    """A wide line, of twice a line of at least 4 in; figures are none."""
    narrow = [p.short_ft for p in paint.parts if p.along_ft > 2 * p.across_ft]
    if paint.style in ("diamond", "bicycle") or not narrow or within(min(narrow), 2 / 3, 9.0):
        return None
    return f"{min(narrow) * 12:.1f} in wide"


def _in_own_lane(paint: Paint) -> bool:
    """Whether a marking stands in a lane that is not for everybody."""
    if paint.segment is None:
        return False
    lanes = _own(paint.segment)
    return any(s.left_ft < paint.offset_ft < s.right_ft for s in lanes)


def _own(segment: Segment) -> list[Strip]:
    lanes = sorted(
        (s for s in segment.strips if s.kind == "travel_lane"), key=lambda s: s.center_ft
    )
    ends = zip(segment.lane_use, (lanes[:1], lanes[-1:]), strict=True)
    return [lane for use, own in ends if use for lane in own]


def _word_centered(paint: Paint, laid: LaidOut) -> str | None:
    return _centered(paint, laid) if _in_own_lane(paint) else None


def _is_marked(block: Block, laid: LaidOut) -> str | None:
    """Whether every lane of a block that is not for everybody holds a word or symbol."""
    segment = block.segment
    if not any(segment.lane_use) or segment.roundabout or not segment.paved:
        return None
    figures = [
        p
        for p in laid.on_segment(segment, "word", "preferential_lane")
        if p.extent_ft[0] < _FIGURE_FT
    ]
    for lane in _own(segment):
        start, stop = lane_ends(block, lane)
        marked = any(lane.left_ft < p.offset_ft < lane.right_ft for p in figures)
        if not marked and stop - start >= _LEAST_FT:
            return f"{stop - start:.0f} ft of lane without a word or symbol"
    return None


CHECKS = (
    Check("HOV-01", "diamond at least 2.5 ft wide", _diamond_width, _KINDS, ("diamond",)),
    Check("HOV-02", "diamond at least 12 ft long", _diamond_length, _KINDS, ("diamond",)),
    Check("HOV-03", "diamond of lines at least 6 in wide", _diamond_stroke, _KINDS, ("diamond",)),
    Check("HOV-05", "in the middle of the lane", _centered, _KINDS, ("diamond",)),
    Check("HOV-05", "words in the middle of the lane", _word_centered, ("word",)),
    Check("HOV-04", "a word or symbol in every preferential lane", _is_marked, on="block"),
    color_check("LINE-16", _KINDS, ["white"]),
    Check("LINE-02", "the line to the next lane at least 8 in wide", _wide, _KINDS),
)
