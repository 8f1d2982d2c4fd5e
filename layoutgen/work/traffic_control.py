"""What a job needs to take room from traffic: cones, signs, taper and buffer, counted for loading.

An estimate of what to put on the truck, by the formulas of MUTCD 11th edition Part 6. It is not a
traffic control plan: that comes from the road authority. A long line is painted as a moving
operation behind signs on the vehicles and takes no cones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from layoutgen.config import Params, choice, length, measure, number
from layoutgen.markings.advance import STOP_DISTANCE_FT, of_speed

Taper = Literal["merging", "shifting", "shoulder", "one_lane"]
Duration = Literal["mobile", "short duration", "short-term", "intermediate-term"]
#: posted speed mph -> longitudinal buffer space ft, rows OP-143 to OP-154 (Table 6B-2), which
#: are the stopping sight distances of the advance markings
BUFFER_FT: dict[int, float] = {s: STOP_DISTANCE_FT[s] for s in STOP_DISTANCE_FT if s <= 75}
#: up to this speed the taper grows with its square, row OP-138; 41 to 44 mph are not stated
#: there (OP-139) and take the longer taper of the higher speeds
_SQUARE_TO_MPH = 40.0
#: share of the merging taper, row OP-140; a third is at least the 0.33 of the row
_SHARE: dict[str, float] = {"merging": 1.0, "shifting": 0.5, "shoulder": 1.0 / 3.0}
#: distance between advance signs ft, rows OP-155, OP-156, OP-157 (Table 6B-1)
_SIGNS_LOW_FT, _SIGNS_HIGH_FT, _SIGNS_RURAL_FT = 100.0, 350.0, 500.0


class TrafficControlParams(Params):
    """Figures of the road authority; the counts are for loading only."""

    taper_spacing_per_mph: float = number(
        1.0,
        low=0.2,
        high=1.0,
        source="OP-159",
        unit="ft/mph",
        text="spacing of cones in the taper, at most 1 ft for a mile per hour",
    )
    tangent_spacing_per_mph: float = number(
        2.0,
        low=0.4,
        high=2.0,
        source="OP-160",
        unit="ft/mph",
        text="spacing of cones along buffer and work, at most 2 ft for a mile per hour",
    )
    work_spacing_ft: float = length(
        "150 ft",
        low="5 ft",
        high="200 ft",
        source="OP-160; OP-161",
        text="but along the work never more than this; New York 40 ft",
    )
    short_taper_ft: float = length(
        "50 ft",
        low="50 ft",
        high="100 ft",
        source="OP-141",
        text="taper at the end of the work, and before a lane shared by both directions",
    )
    short_taper_spacing_ft: float = length(
        "20 ft", low="5 ft", high="40 ft", source="OP-142", text="spacing of cones in those"
    )
    spare_cones: int = number(0, low=0, high=50, source="design", text="cones loaded on top")
    high_speed_mph: float = measure(
        "speed",
        "45 mph",
        low="25 mph",
        high="65 mph",
        source="from memory",
        text="from here on a street is of high speed: tall cones, arrow board, signs further out",
    )
    low_cone_in: int = number(
        18, low=18, high=42, source="OP-162", unit="in", text="cones by day at low speed"
    )
    high_cone_in: int = number(
        28, low=28, high=42, source="OP-163", unit="in", text="cones at night or high speed"
    )
    low_speed_signs: int = number(
        2, low=0, high=20, source="from memory", text="advance signs of a direction, low speed"
    )
    high_speed_signs: int = number(
        3,
        low=0,
        high=20,
        source="OP-156; OP-157",
        text="advance signs of a direction at high speed or in the country: A, B and C",
    )
    end_signs: int = number(
        1, low=0, high=4, source="OP-174", text="end signs; none up to a short duration"
    )
    moving_signs: int = number(
        2, low=0, high=20, source="from memory", text="signs on the vehicles of a moving job"
    )
    moving_arrow_board: bool = choice(
        True, source="OP-175; OP-176", text="moving jobs have an arrow board; optional on two lanes"
    )
    mobile_min: float = measure(
        "time", "15 min", low="0 min", high="15 min", source="OP-171", text="longest mobile stop"
    )
    short_duration_min: float = measure(
        "time", "60 min", low="15 min", high="2 h", source="OP-168", text="longest short duration"
    )
    daylight_min: float = measure(
        "time",
        "12 h",
        low="6 h",
        high="16 h",
        source="OP-169; OP-172",
        text="longest short-term work: one daylight period",
    )


@dataclass(frozen=True)
class Work:
    """What is known of a job.

    Attributes:
        speed_mph: posted speed.
        closed_ft: width taken from traffic; 0 = none.
        work_ft: length of street painted.
        minutes: time at the place, set-up and drying included.
        moving: painted while driving along.
        night: dark.
        taper: merging (a lane ends), shifting (it swerves), shoulder (a strip beside the lanes),
            one_lane (both directions share what is left).
        is_rural: in the country: signs as far out as there.
    """

    speed_mph: float
    closed_ft: float
    work_ft: float
    minutes: float
    moving: bool = False
    night: bool = False
    taper: Taper = "merging"
    is_rural: bool = False


@dataclass(frozen=True)
class Closure:
    """What to load for it; counts are estimates.

    Attributes:
        cones: number, 0 for a moving job.
        cone_in: least height in inches, 0 without cones.
        signs: advance and end signs, or signs on the vehicles of a moving job.
        arrow_board: 1 = needed.
        taper_ft, buffer_ft: lengths before the work.
        taper_spacing_ft, tangent_spacing_ft: most between cones in the taper, and after it.
        sign_spacing_ft: distance between advance signs.
        duration: class of its duration.
    """

    cones: int
    cone_in: int
    signs: int
    arrow_board: int
    taper_ft: float
    buffer_ft: float
    taper_spacing_ft: float
    tangent_spacing_ft: float
    sign_spacing_ft: float
    duration: Duration


def estimate(work: Work, params: TrafficControlParams | None = None) -> Closure:
    """Cones, signs and lengths of one job, for loading.

    Raises:
        ValueError: no speed, or a negative width, length or time.
    """
    _check(work)
    own = params or TrafficControlParams()
    if work.moving:
        return _vehicles_only(work, own, own.moving_signs, int(own.moving_arrow_board))
    if work.closed_ft <= 0.0:
        return _vehicles_only(work, own, 0, 0)
    return _closed(work, own)


def merging_taper_ft(speed_mph: float, closed_ft: float) -> float:
    """Length L of a merging taper: W S^2 / 60 to 40 mph, W S above (row OP-138)."""
    if speed_mph <= _SQUARE_TO_MPH:
        return closed_ft * speed_mph**2 / 60.0
    return closed_ft * speed_mph


def taper_length_ft(work: Work, params: TrafficControlParams) -> float:
    """Length of the taper before the work (rows OP-140, OP-141)."""
    if work.taper == "one_lane":
        return params.short_taper_ft
    return merging_taper_ft(work.speed_mph, work.closed_ft) * _SHARE[work.taper]


def buffer_length_ft(speed_mph: float) -> float:
    """Longitudinal buffer space: that of the next higher printed speed; the last one above 75."""
    return of_speed(BUFFER_FT, speed_mph)


def cones_along(length_ft: float, spacing_ft: float) -> int:
    """Cones of one stretch; its first belongs to the stretch before (rows OP-165 to OP-167)."""
    return math.ceil(round(length_ft / spacing_ft, 9))


def duration_of(work: Work, params: TrafficControlParams) -> Duration:
    """Class of duration (rows OP-168 to OP-172); work at night over an hour is intermediate."""
    if work.moving or work.minutes <= params.mobile_min:
        return "mobile"
    if work.minutes <= params.short_duration_min:
        return "short duration"
    if work.night or work.minutes > params.daylight_min:
        return "intermediate-term"
    return "short-term"


def sign_spacing_ft(work: Work, params: TrafficControlParams) -> float:
    """Distance between advance signs (rows OP-155 to OP-157)."""
    if work.is_rural:
        return _SIGNS_RURAL_FT
    return _SIGNS_HIGH_FT if _is_fast(work, params) else _SIGNS_LOW_FT


def _check(work: Work) -> None:
    if not work.speed_mph > 0.0:
        raise ValueError(f"speed_mph must be over 0, got {work.speed_mph}")
    for name in ("closed_ft", "work_ft", "minutes"):
        if not getattr(work, name) >= 0.0:
            raise ValueError(f"{name} must not be negative, got {getattr(work, name)}")


def _is_fast(work: Work, params: TrafficControlParams) -> bool:
    return work.speed_mph >= params.high_speed_mph


def _vehicles_only(
    work: Work, params: TrafficControlParams, signs: int, arrow_board: int
) -> Closure:
    """A moving job, or one beside traffic: nothing stands on the street."""
    return Closure(
        cones=0,
        cone_in=0,
        signs=signs,
        arrow_board=arrow_board,
        taper_ft=0.0,
        buffer_ft=0.0,
        taper_spacing_ft=0.0,
        tangent_spacing_ft=0.0,
        sign_spacing_ft=0.0,
        duration=duration_of(work, params),
    )


def _closed(work: Work, params: TrafficControlParams) -> Closure:
    is_fast = _is_fast(work, params)
    return Closure(
        cones=_cones(work, params),
        cone_in=params.high_cone_in if work.night or is_fast else params.low_cone_in,
        signs=_signs(work, params),
        arrow_board=int(is_fast and work.taper == "merging"),
        taper_ft=taper_length_ft(work, params),
        buffer_ft=buffer_length_ft(work.speed_mph),
        taper_spacing_ft=_taper_spacing_ft(work, params),
        tangent_spacing_ft=work.speed_mph * params.tangent_spacing_per_mph,
        sign_spacing_ft=sign_spacing_ft(work, params),
        duration=duration_of(work, params),
    )


def _taper_spacing_ft(work: Work, params: TrafficControlParams) -> float:
    if work.taper == "one_lane":
        return params.short_taper_spacing_ft
    return work.speed_mph * params.taper_spacing_per_mph


def _cones(work: Work, params: TrafficControlParams) -> int:
    """One at the very start, then those of taper, buffer, work and downstream taper."""
    tangent_ft = work.speed_mph * params.tangent_spacing_per_mph
    stretches = (
        (taper_length_ft(work, params), _taper_spacing_ft(work, params)),
        (buffer_length_ft(work.speed_mph), tangent_ft),
        (work.work_ft, min(tangent_ft, params.work_spacing_ft)),
        (params.short_taper_ft, params.short_taper_spacing_ft),
    )
    return 1 + sum(cones_along(*stretch) for stretch in stretches) + params.spare_cones


def _signs(work: Work, params: TrafficControlParams) -> int:
    """Advance signs of the directions that meet the work, and their end signs."""
    many = _is_fast(work, params) or work.is_rural
    advance = params.high_speed_signs if many else params.low_speed_signs
    is_short = duration_of(work, params) in ("mobile", "short duration")
    directions = 2 if work.taper == "one_lane" else 1
    return directions * (advance + (0 if is_short else params.end_signs))
