"""What the standard asks of words at schools, beyond what it asks of every word."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.markings.checks.places import waits_at
from layoutgen.markings.conformity import Check, LaidOut, Paint

WORD = ("word",)
#: how far behind the word XING its crosswalk may lie
_LOOK_FT = 200.0
#: words of one message lie nearer: ten letter heights (WORD-04)
_MESSAGE_FT = 85.0
#: and in one lane
_LANE_FT = 4.0


def _one_lane(paint: Paint, _: LaidOut) -> str | None:
    if not paint.style.casefold().startswith("school") or paint.segment is None:
        return None
    lanes = [s.width_ft for s in paint.segment.strips if s.kind == "travel_lane"]
    wide = paint.extent_ft[1]
    return f"{wide:.1f} ft wide, more than a lane" if lanes and wide > max(lanes) else None


def _xing(paint: Paint, laid: LaidOut) -> str | None:
    """XING 100 ft and more before its crosswalk, and only where nothing controls that."""
    if paint.style.casefold() != "xing" or not _after_school(paint, laid):
        return None
    t = math.radians(paint.bearing_deg)
    ahead = np.array([math.sin(t), math.cos(t)])
    found = [
        walk
        for walk in laid.near(paint.shape, _LOOK_FT, ("crosswalk",))
        if _middle(walk) @ ahead > _middle(paint) @ ahead
    ]
    pairs = [(float(shapely.distance(paint.shape, p.shape)), p) for p in found]
    if not pairs:
        return f"no crosswalk within {_LOOK_FT:g} ft"
    away, walk = min(pairs, key=lambda pair: pair[0])
    leg = waits_at(walk)
    if leg is not None and leg.control != "none":
        return f"{leg.control} controls crosswalk {walk.marking_id}"
    return None if away >= 99.99 else f"{away:.0f} ft before crosswalk {walk.marking_id}"


def _after_school(paint: Paint, laid: LaidOut) -> bool:
    """Whether the word is part of SLOW SCHOOL XING, and not of another message."""
    words = laid.near(paint.shape, _MESSAGE_FT, ("word",))
    return any(
        p.style.casefold() == "school"
        and p.segment is paint.segment
        and abs(p.offset_ft - paint.offset_ft) < _LANE_FT
        for p in words
    )


def _middle(paint: Paint) -> NDArray[np.float64]:
    center = paint.shape.centroid
    return np.array([center.x, center.y])


CHECKS = (
    Check("SCHOOL-02", "California: SCHOOL in one lane only", _one_lane, WORD),
    Check("SCHOOL-07", "California: XING 100 ft before uncontrolled crosswalks", _xing, WORD),
)
