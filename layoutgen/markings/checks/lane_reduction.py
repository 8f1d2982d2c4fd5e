"""What is asked where a lane ends (MUTCD 11th edition 3B.12)."""

from __future__ import annotations

from layoutgen.markings.checks.patterns import line_width_check
from layoutgen.markings.conformity import INCH, Check, LaidOut, Paint
from layoutgen.markings.reductions import Reduction, advance_ft, reductions
from layoutgen.street.design import Block

KIND = ("lane_reduction",)
_LINE = ("taper_line",)
_ARROW = ("arrow",)
#: classes on which a lane that ends is taken for one (others change lanes at every pocket)
_CLASSES = ("freeway", "arterial")
#: an angle is measured on the ends of a line of some width
_SLACK = 0.02


def _length(row: str, text: str, *, fast: bool) -> Check:
    """The taper line is as long as its lateral shift and the speed ask."""

    def test(paint: Paint, _: LaidOut) -> str | None:
        if paint.segment is None:
            return None
        speed = paint.segment.speed_mph
        if (speed >= 45.0) != fast:
            return None
        shift = paint.right_ft - paint.left_ft - min(p.short_ft for p in paint.parts)
        asked = shift * speed if fast else shift * speed * speed / 60.0
        length = paint.to_ft - paint.from_ft
        if length >= asked * (1.0 - _SLACK):
            return None
        return f"taper of {length:.0f} ft for {shift:.1f} ft at {speed:g} mph, {asked:.0f} ft asked"

    return Check(row, text, test, KIND, _LINE)


def _least(paint: Paint, _: LaidOut) -> str | None:
    if paint.segment is None or paint.segment.speed_mph < 25.0:
        return None
    least = 200.0 if paint.segment.setting == "rural" else 100.0
    length = paint.to_ft - paint.from_ft
    return f"taper of {length:.0f} ft" if length < least - 1.0 else None


def _arrows(block: Block, laid: LaidOut) -> str | None:
    """No arrow before a lane that ends, on a fast road with room for one."""
    if block.segment.speed_mph < 45.0:
        return None
    for way in (1, -1):
        for found in reductions(block, way, _CLASSES):
            if _room(block, found) and not _seen(block, found, laid):
                return "no lane-reduction arrow before the lane that ends"
    return None


def _room(block: Block, found: Reduction) -> bool:
    return block.segment.length_ft > found.length_ft + advance_ft(block.segment.speed_mph)


def _seen(block: Block, found: Reduction, laid: LaidOut) -> bool:
    arrows = [p for p in laid.on_segment(block.segment, *KIND) if p.style in _ARROW]
    return all(any(s.left_ft <= p.offset_ft <= s.right_ft for p in arrows) for s in found.lanes)


CHECKS = (
    _length("TAPER-01", "taper of W x S from 45 mph on", fast=True),
    _length("TAPER-02", "taper of W x S x S / 60 below 45 mph", fast=False),
    Check("TAPER-03", "taper of 100 ft, rural 200 ft, or more", _least, KIND, _LINE),
    Check("ARROW-10", "lane-reduction arrows from 45 mph on", _arrows, on="block"),
    line_width_check("LINE-01", KIND, 4 * INCH, 12 * INCH, _LINE),
)
