"""How far ahead a driver is warned: MUTCD 11th edition Table 2C-3, by speed."""

from __future__ import annotations

import bisect
from collections.abc import Mapping

#: speed (mph) -> distance (ft) to where a driver must be able to stop; rows ADV-01 to ADV-14
STOP_DISTANCE_FT = {
    20: 115.0,
    25: 155.0,
    30: 200.0,
    35: 250.0,
    40: 305.0,
    45: 360.0,
    50: 425.0,
    55: 495.0,
    60: 570.0,
    65: 645.0,
    70: 730.0,
    75: 820.0,
    80: 910.0,
    85: 1010.0,
}


def stop_distance_ft(speed_mph: float) -> float:
    """Distance of the row for that speed, the next faster one between rows."""
    return of_speed(STOP_DISTANCE_FT, speed_mph)


def of_speed(rows: Mapping[int, float], speed_mph: float) -> float:
    """Value of the row for a speed, the next faster one between rows, the last one above them."""
    speeds = list(rows)
    k = min(bisect.bisect_left(speeds, speed_mph - 1e-9), len(speeds) - 1)
    return rows[speeds[k]]
