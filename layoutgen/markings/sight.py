"""How far drivers see along a curved axis, and where that is too short to pass.

MUTCD 11th edition 3B.03: sight distance on a horizontal curve is measured along the center line,
between two points whose straight line just touches what blocks the view inside the curve. Hills are
not known, nor what lies beyond the ends of a street.
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

#: mph -> ft: Table 3B-1, least passing sight distance (NPZ-01 to NPZ-10)
PASSING_FT: Mapping[int, float] = {
    25: 450.0, 30: 500.0, 35: 550.0, 40: 600.0, 45: 700.0,
    50: 800.0, 55: 900.0, 60: 1000.0, 65: 1100.0, 70: 1200.0,
}  # fmt: skip
#: zones nearer to each other than this are joined (CENTER-08)
JOIN_FT = 400.0
_STEP_FT = 20.0

Zone = tuple[float, float]


def passing_ft(speed_mph: float) -> float:
    """Least passing sight distance, for the next speed that the table has."""
    speeds = list(PASSING_FT)
    return PASSING_FT[speeds[min(bisect.bisect_left(speeds, speed_mph - 1e-9), len(speeds) - 1)]]


def blind_zones(axis: Any, clear_ft: float, wanted_ft: float) -> dict[int, list[Zone]]:
    """Stations where traffic sees less far than wanted, by direction (+1 along the axis, -1).

    Args:
        axis: line of the center of the street.
        clear_ft: from the axis to what blocks the view on the inside of curves.
        wanted_ft: distance to be seen along the axis.
    """
    length = float(axis.length)
    count = max(2, round(length / _STEP_FT) + 1)
    step = length / (count - 1)
    xy = shapely.get_coordinates(
        shapely.line_interpolate_point(axis, np.linspace(0.0, length, count))
    )
    reach = int(np.ceil(wanted_ft / step))
    ahead = _first_blind(xy, clear_ft, reach) < reach
    back = _first_blind(xy[::-1], clear_ft, reach)[::-1] < reach
    return {1: _runs(ahead, step), -1: _runs(back, step)}


def joined(zones: Sequence[Zone], nearer_ft: float = JOIN_FT) -> list[Zone]:
    """Zones with those closer to each other than a distance made one."""
    out: list[Zone] = []
    for start, stop in sorted(zones):
        if out and start - out[-1][1] < nearer_ft:
            out[-1] = (out[-1][0], max(out[-1][1], stop))
        else:
            out.append((start, stop))
    return out


def _first_blind(xy: NDArray[np.float64], clear_ft: float, reach: int) -> NDArray[np.int64]:
    """How many steps ahead every point sees before the view is blocked; `reach` = far enough."""
    count = len(xy)
    out = np.full(count, reach, dtype=np.int64)
    for i in range(count):
        own = xy[i : i + reach + 1] - xy[i]
        for far in range(2, len(own)):
            chord = own[far] / max(float(np.hypot(*own[far])), 1e-9)
            off = np.abs(own[1:far, 0] * chord[1] - own[1:far, 1] * chord[0])
            if off.max() > clear_ft:
                out[i] = far - 1
                break
    return out


def _runs(blind: NDArray[np.bool_], step_ft: float) -> list[Zone]:
    """Stretches of neighboring points that are blind."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], blind, [False]]).astype(int)))
    last = len(blind) - 1
    return [
        (max(0.0, (a - 0.5) * step_ft), min(last, b - 0.5) * step_ft)
        for a, b in edges.reshape(-1, 2).tolist()
    ]
