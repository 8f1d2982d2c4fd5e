"""The weather gate of a plan: which hours are open, and how cold the slowest of them is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.work.materials import MaterialParams
from layoutgen.work.time import CrewParams, clock_seconds
from layoutgen.work.weather import (
    WeatherParams,
    closed_reason,
    open_hours,
    planning_hour,
    read_hours,
)


def weather_of(
    params: WeatherParams,
    materials: Mapping[str, MaterialParams],
    used: Sequence[str],
    crew: CrewParams,
) -> tuple[pd.DataFrame | None, float, list[Finding]]:
    """(hours with column open, air temperature F for drying, findings).

    An hour is open if all materials used may be laid in it. Drying is planned at the coldest open
    hour of the shift; without a file at the planned temperature, and there are no hours.

    Raises:
        InputError: the file cannot be read.
    """
    hours = read_hours(Path(params.file), params) if params.file else planning_hour(params)
    is_open = np.ones(len(hours), dtype=bool)
    findings: list[Finding] = []
    for name in used:
        own = open_hours(hours, materials[name], params)
        if not own.any():
            why = str(closed_reason(hours, materials[name], params).iloc[0])
            findings.append(_shut(name, why, bool(params.file)))
        is_open &= own
    if not params.file:
        return None, params.air_f, findings
    findings.append(_ends(str(hours["time"].iloc[-1])))
    in_shift = is_open & _within(hours["time"], crew)
    air = hours["air_f"].to_numpy(dtype=float)
    coldest = float(air[in_shift].min()) if in_shift.any() else params.air_f
    return hours[["time"]].assign(open=is_open), coldest, findings


def _within(times: pd.Series[pd.Timestamp], crew: CrewParams) -> NDArray[np.bool_]:
    """Hours of the shift, one that runs past midnight included."""
    begin = clock_seconds(crew.shift_start) // 3600
    length = int(np.ceil((crew.shift_min + crew.lunch_min) / 60.0))
    clock = times.dt.hour.to_numpy(dtype=np.int64)
    return np.asarray((clock - begin) % 24 < length)


def _ends(last: str) -> Finding:
    return Finding(
        code="weather_ends",
        severity="notice",
        source="work",
        feature_id="",
        text=f"the weather file ends with the hour of {last}; later hours are planned as open",
        fix="plan again with newer hours before later tours start",
    )


def _shut(name: str, why: str, from_file: bool) -> Finding:
    where = "no hour of the weather file is" if from_file else "the planned weather is not"
    return Finding(
        code="weather_closed",
        severity="warning",
        source="work",
        feature_id=name,
        text=f"{where} open for {name}: {why}",
        fix="plan for another season, set [weather] to what you expect, or change the material",
    )
