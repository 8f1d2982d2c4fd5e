"""What closes the place to traffic: cones, signs, lengths. An estimate for loading the truck only.

Lengths and spacing follow Part 6 of the MUTCD, 11th edition. The road authority's traffic control
plan decides what stands on the street, and where.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from layoutgen.config import Params, choice, length, measure, number

#: longitudinal buffer space in feet by posted speed in mph (rows OP-143 to OP-154)
BUFFER_FT: Mapping[int, int] = {
    20: 115,
    25: 155,
    30: 200,
    35: 250,
    40: 305,
    45: 360,
    50: 425,
    55: 495,
    60: 570,
    65: 645,
    70: 730,
    75: 820,
}
#: up to this speed L = W S^2 / 60, above it L = W S; between 40 and 45 the longer (row OP-138)
_SLOW_MPH = 40.0
_SHARES = {"merging": 1.0, "shifting": 1.0 / 2.0, "shoulder": 1.0 / 3.0}
_STEP_FT = 5.0
Taper = Literal["merging", "shifting", "shoulder"]


class TrafficControlParams(Params):
    """`[traffic_control]`: what a closure takes, for loading."""

    high_speed_mph: float = measure(
        "speed",
        "45 mph",
        low="25 mph",
        high="60 mph",
        source="OP-163",
        text="from here on tall cones, more signs and an arrow board",
    )
    night: bool = choice(False, source="OP-163", text="work at night: tall cones with bands")
    downstream_ft: float = length(
        "50 ft", low="50 ft", high="100 ft", source="OP-141", text="downstream taper"
    )
    downstream_spacing_ft: float = length(
        "20 ft", low="5 ft", high="50 ft", source="OP-142", text="cones in a 50 to 100 ft taper"
    )
    signs_low: int = number(
        3, low=0, high=20, source="OP-155", text="advance signs (A, B, C) by direction, low speed"
    )
    signs_high: int = number(
        3, low=0, high=20, source="OP-156", text="advance signs by direction, high speed"
    )
    end_sign: bool = choice(True, source="OP-174", text="an end sign; short duration may omit it")


@dataclass(frozen=True)
class Closure:
    """Estimate for one visit; lengths in feet, `cone_in` the least height in inches."""

    cones: int
    cone_in: int
    signs: int
    arrow_board: bool
    taper_ft: float
    buffer_ft: float
    duration: str


def taper_ft(speed_mph: float, width_ft: float, kind: Taper = "merging") -> float:
    """Length of a taper, in feet, for the width of street that is closed.

    Rounded to 5 ft for a merging one, as the tables print it.
    """
    slow, fast = width_ft * speed_mph**2 / 60.0, width_ft * speed_mph
    full = slow if speed_mph <= _SLOW_MPH else fast
    return round(full * _SHARES[kind] / _STEP_FT) * _STEP_FT


def buffer_ft(speed_mph: float) -> float:
    """Buffer space of the next posted speed in the table; the ends are held."""
    known = [speed for speed in BUFFER_FT if speed >= speed_mph - 1e-6]
    return float(BUFFER_FT[min(known) if known else max(BUFFER_FT)])


def cones_along(length_ft: float, spacing_ft: float) -> int:
    """Spaces between cones on a stretch; one cone more stands at the very start."""
    return math.ceil(length_ft / spacing_ft - 1e-9)


def estimate(
    speed_mph: float,
    closed_ft: float,
    work_ft: float,
    minutes: float,
    moving: bool,
    params: TrafficControlParams,
) -> Closure:
    """Cones and signs for one visit.

    Args:
        speed_mph: posted speed.
        closed_ft: width taken from traffic; 0 = beside the lanes, as a shoulder taper of 8 ft.
        work_ft: length of the work space.
        minutes: time at the place.
        moving: long lines, painted while driving along: signs on the vehicles, no cones.
        params: settings.
    """
    high = speed_mph >= params.high_speed_mph
    tall = 28 if high or params.night else 18
    if moving:
        return Closure(0, tall, 1, high, 0.0, 0.0, "mobile")
    taper = taper_ft(speed_mph, closed_ft) if closed_ft else taper_ft(speed_mph, 8.0, "shoulder")
    buffer = buffer_ft(speed_mph)
    cones = 1 + cones_along(taper, speed_mph) + cones_along(buffer + work_ft, 2.0 * speed_mph)
    cones += cones_along(params.downstream_ft, params.downstream_spacing_ft)
    span = _duration(minutes, params)
    signs = params.signs_high if high else params.signs_low
    signs += int(params.end_sign and span != "short duration")
    return Closure(cones, tall, signs, high and closed_ft > 0.0, taper, buffer, span)


def _duration(minutes: float, params: TrafficControlParams) -> str:
    """Class of duration of work that stands (rows OP-168 to OP-171)."""
    if minutes <= 60.0:
        return "short duration"
    return "intermediate-term" if params.night else "short-term"
