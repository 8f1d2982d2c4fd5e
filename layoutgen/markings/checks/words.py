"""Checks of words on the pavement: MUTCD 11th edition 3B.20, 3B.21 and 7C.02."""

from __future__ import annotations

import math

import numpy as np
import shapely

from layoutgen.markings.checks.in_lane import (
    in_lane,
    in_strip,
    leg_place,
    legs_toward,
    on_approach,
    reach,
    strip_of,
)
from layoutgen.markings.conformity import (
    TOLERANCE_FT,
    Check,
    LaidOut,
    Paint,
    color_check,
    size_check,
)
from layoutgen.markings.lanes import turns
from layoutgen.street.design import Leg

_WORD = ("word",)
_LEAST_FT = 6.0  # WORD-01
_SLOW_MPH, _REDUCED = 25.0, 0.75  # WORD-08
#: messages that WORD-01 lets have smaller letters
_SMALL = {"BIKE", "LANE", "BIKE LANE", "WAIT", "HERE", "FOR", "GREEN", "EV", "CHARGING"}
#: messages whose lines may stand close (WORD-05)
_CLOSE = {"DO", "NOT", "BLOCK", "KEEP", "CLEAR"}
#: word -> words that a driver reads before it
_AFTER = {
    "AHEAD": {"STOP", "YIELD", "SIGNAL", "SCHOOL"},
    "XING": {"PED", "SCHOOL", "BIKE", "TRAIL"},
}
#: words that make ONLY say who may use the lane, not where it leads
_USERS = {"BUS", "BIKE", "TAXI", "HOV", "TRANSIT"}
#: a STOP word this near to the line stands before it
_BEFORE_LINE_FT = 60.0
#: words lean apart or together where the street bends between them (our allowance)
_BEND_FT = 0.5
#: lanes shorter than this have no room for arrows and words (common practice)
_ROOM_FT = 100.0


def letters_of(paint: Paint) -> str:
    """The text of a word, without a note on its form."""
    text = " ".join(paint.style.upper().replace("_", " ").split())
    return text.removesuffix(" TWO-LANE").removesuffix(" TWO LANE")


def _written(*words: str) -> tuple[str, ...]:
    """Styles of words as we write them, and as layouts of other origin are read."""
    return (*words, *(word.casefold().replace(" ", "_") for word in words))


def height_of(paint: Paint) -> float:
    """Height of its tallest letter along the travel that reads it."""
    return max((p.along_ft for p in paint.parts), default=0.0)


def _in_bike_lane(paint: Paint) -> bool:
    strip = strip_of(paint)
    return strip is not None and strip.kind == "bike_lane"


def _letters_high_enough(paint: Paint, _: LaidOut) -> str | None:
    if set(letters_of(paint).split()) <= _SMALL:
        return None
    slow = paint.segment is not None and paint.segment.speed_mph < _SLOW_MPH
    least = _LEAST_FT * (_REDUCED if slow else 1.0)
    high = height_of(paint)
    return None if high >= least - TOLERANCE_FT else f"letters {high:.2f} ft high"


def _chain(paint: Paint, laid: LaidOut, step: int) -> list[Paint]:
    """Words of its message that follow (step 1) or precede (-1) it, each within 10 heights."""
    words = [p for p in (*in_lane(paint, laid, "word"), paint) if not _in_bike_lane(p)]
    words.sort(key=lambda p: reach(p, laid)[0])
    if paint not in words:
        return []
    out: list[Paint] = []
    k = words.index(paint)
    while 0 <= k + step < len(words):
        first, second = sorted((words[k], words[k + step]), key=lambda p: reach(p, laid)[0])
        gap = reach(second, laid)[0] - reach(first, laid)[1]
        if gap > 10.0 * height_of(first) + _BEND_FT:
            break
        k += step
        out.append(words[k])
    return out


def _few_lines(paint: Paint, laid: LaidOut) -> str | None:
    if _chain(paint, laid, -1):
        return None  # told at the first line
    lines = 1 + len(_chain(paint, laid, 1))
    return None if lines <= 3 else f"{lines} lines"


def _next(paint: Paint, laid: LaidOut) -> tuple[Paint, float] | None:
    """The next word of the lane, and the clear distance to it."""
    far = reach(paint, laid)[1]
    after = [p for p in in_lane(paint, laid, "word") if reach(p, laid)[0] > far - 1.0]
    return (after[0], reach(after[0], laid)[0] - far) if after else None


def _gap_long_enough(paint: Paint, laid: LaidOut) -> str | None:
    following = _next(paint, laid)
    if following is None or _in_bike_lane(paint) or letters_of(paint) in _CLOSE:
        return None
    least = 4.0 * height_of(paint)
    gap = following[1]
    if gap >= least - _BEND_FT:
        return None
    return f"{gap:.1f} ft to {letters_of(following[0])}, less than {least:.1f} ft"


def _before(paint: Paint, laid: LaidOut) -> tuple[Paint, float] | None:
    """The word before it that its own is read after, and the clear distance."""
    near = reach(paint, laid)[0]
    wanted = _AFTER[letters_of(paint)]
    words = [p for p in in_lane(paint, laid, "word") if letters_of(p) in wanted]
    words = [p for p in words if reach(p, laid)[1] < near + 1.0]
    return (words[-1], near - reach(words[-1], laid)[1]) if words else None


def _gap_short_enough(paint: Paint, laid: LaidOut) -> str | None:
    before = _before(paint, laid)
    if before is None:
        return None
    most = 10.0 * height_of(paint)
    return None if before[1] <= most + _BEND_FT else f"{before[1]:.0f} ft after its first word"


def _reading_order(paint: Paint, laid: LaidOut) -> str | None:
    if _before(paint, laid) is not None:
        return None
    wanted = _AFTER[letters_of(paint)]
    behind = [p for p in _chain(paint, laid, 1) if letters_of(p) in wanted]
    return f"is met before {letters_of(behind[0])}" if behind else None


def _in_its_lane(paint: Paint, _: LaidOut) -> str | None:
    strip = strip_of(paint)
    if strip is None or "SCHOOL" in letters_of(paint):
        return None
    wide = paint.extent_ft[1]
    if wide <= strip.width_ft + TOLERANCE_FT:
        return None
    return f"{wide:.1f} ft wide in a lane of {strip.width_ft:.1f} ft"


def _stop_where_all_stop(paint: Paint, laid: LaidOut) -> str | None:
    following = _chain(paint, laid, 1)
    if following and letters_of(following[0]) == "AHEAD":
        return None
    for leg in legs_toward(paint, laid):
        away = leg_place(paint, leg)[0] - leg.layout.stop.station_ft
        if away <= _BEFORE_LINE_FT and leg.control != "stop":
            return f"stands before a line where the control is {leg.control}"
    return None


def _only_for_one(paint: Paint, laid: LaidOut) -> str | None:
    if any(letters_of(p) in _USERS for p in _chain(paint, laid, -1)):
        return None
    for leg in legs_toward(paint, laid):
        offset = leg_place(paint, leg)[1]
        if len(leg.movements) != len(leg.inbound):
            continue
        for strip, movements in zip(leg.inbound, leg.movements, strict=True):
            if in_strip(offset, strip) and len(movements) > 1:
                return f"in a lane for {' and '.join(movements)}"
    return None


def room_of(leg: Leg) -> float:
    """Length before the stop line that the lanes of an approach have."""
    return min(leg.pocket_ft or math.inf, leg.room_ft - leg.layout.stop.station_ft)


def _only_in_lane_drop(leg: Leg, laid: LaidOut) -> str | None:
    """ONLY in a through lane that becomes a turn lane, where there is room for it."""
    told = len(leg.movements) == len(leg.inbound)
    if not told or leg.circular or leg.segment.rail_crossings or room_of(leg) < _ROOM_FT:
        return None
    if all(turns(m) == "must" for m in leg.movements):
        return None  # no lane goes on: none of them is dropped
    words = [offset for p, _, offset in on_approach(leg, laid, "word") if "ONLY" in letters_of(p)]
    for k, (strip, movements) in enumerate(zip(leg.inbound, leg.movements, strict=True), start=1):
        dropped = strip.kind == "travel_lane" and turns(movements) == "must" and len(movements) == 1
        if dropped and not any(in_strip(offset, strip) for offset in words):
            return f"no ONLY in lane {k}"
    return None


def _spans_lanes(paint: Paint) -> bool:
    """Whether SCHOOL is wider than any lane it stands in."""
    widths = [s.width_ft for s in paint.segment.strips] if paint.segment else []
    strip = strip_of(paint)
    most = strip.width_ft if strip else max(widths, default=0.0)
    return bool(most) and paint.extent_ft[1] > most + TOLERANCE_FT


def _two_lane_letters(paint: Paint, _: LaidOut) -> str | None:
    if letters_of(paint) != "SCHOOL" or not _spans_lanes(paint):
        return None
    high = height_of(paint)
    return None if high >= 10.0 - TOLERANCE_FT else f"letters {high:.2f} ft high on two lanes"


def _one_lane_school(paint: Paint, _: LaidOut) -> str | None:
    if letters_of(paint) != "SCHOOL" or not _spans_lanes(paint):
        return None
    return f"{paint.extent_ft[1]:.1f} ft wide, more than one lane"


def _school_xing_far_enough(paint: Paint, laid: LaidOut) -> str | None:
    if not any(letters_of(p) == "SCHOOL" for p in _chain(paint, laid, -1)):
        return None
    turn = math.radians(paint.bearing_deg)
    ahead = np.array([math.sin(turn), math.cos(turn)])
    front = shapely.get_coordinates(paint.shape)
    tip = float((front @ ahead).max())
    for walk in laid.near(paint.shape, 100.0 - TOLERANCE_FT, ("crosswalk",)):
        if walk.color == "yellow":
            gap = float((shapely.get_coordinates(walk.shape) @ ahead).min()) - tip
            if 0.0 <= gap < 100.0 - TOLERANCE_FT:
                return f"{gap:.0f} ft before the crosswalk"
    return None


CHECKS = (
    Check("WORD-01", "letters at least 6 ft high", _letters_high_enough, _WORD),
    Check("WORD-02", "at most 3 lines in one message", _few_lines, _WORD),
    Check("WORD-03", "at least 4 letter heights between lines", _gap_long_enough, _WORD),
    Check(
        *("WORD-04", "at most 10 letter heights between lines", _gap_short_enough, _WORD),
        styles=_written(*_AFTER),
    ),
    Check(
        *("WORD-06", "the first word nearest the driver", _reading_order, _WORD),
        styles=_written(*_AFTER),
    ),
    Check("WORD-07", "no wider than one lane, but for SCHOOL", _in_its_lane, _WORD),
    color_check("WORD-09", _WORD, ("white",)),
    Check(
        *("WORD-10", "STOP only where all must always stop", _stop_where_all_stop, _WORD),
        styles=_written("STOP"),
    ),
    Check("WORD-11", "ONLY where a through lane must turn", _only_in_lane_drop, on="approach"),
    Check(
        "WORD-12", "no ONLY for several movements", _only_for_one, _WORD, styles=_written("ONLY")
    ),
    size_check("WORD-15", _WORD, 1.0, 1.0, styles=_written("EV CHARGING ONLY")),
    Check("WORD-16", "SCHOOL on two lanes: letters of 10 ft", _two_lane_letters, _WORD),
    Check("SCHOOL-02", "SCHOOL in one lane only", _one_lane_school, _WORD),
    Check(
        *("SCHOOL-07", "SCHOOL XING 100 ft before a yellow crosswalk", _school_xing_far_enough),
        kinds=_WORD,
        styles=_written("XING"),
    ),
)
