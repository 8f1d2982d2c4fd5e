"""Minutes of the crew: painting a marking, serving a set-up, and the clock of a shift.

Production differs ten-fold between agencies (rows OP-088 and OP-104 of the trade's figures), so
every rate is a setting; put the numbers of your own daily logs here.
"""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pandas as pd
from pydantic import field_validator

from layoutgen.config import Params, choice, measure, number
from layoutgen.work.quantities import KEEP

_CLOCK = re.compile(r"^([01][0-9]|2[0-3]):([0-5][0-9])$")
_FT_PER_MIN_AT_1_MPH = 88.0


class CrewParams(Params):
    """How long a crew of one truck needs, and its shift."""

    position_min: float = measure(
        "time",
        "3 min",
        low="0 min",
        high="60 min",
        source="from memory",
        text="per job: place the truck, lights on, and away again",
    )
    coning_min: float = measure(
        "time",
        "4 min",
        low="0 min",
        high="120 min",
        source="from memory",
        text="per set-up: cones out and in; none for long lines, painted as a moving operation",
    )
    spray_sqft_per_minute: float = number(
        15.0,
        low=1.0,
        high=200.0,
        source="from memory",
        unit="sq ft/min",
        text="hand spraying of figures and bars, moving the template included",
    )
    line_mph: float = measure(
        "speed",
        "5 mph",
        low="1 mph",
        high="10 mph",
        source="OP-090",
        text="truck speed while painting a long line, gaps included",
    )
    pull_forward_min: float = measure(
        "time",
        "30 s",
        low="0 s",
        high="30 min",
        source="from memory",
        text="per figure: bring truck and hose to it",
    )
    inspection_min: float = measure(
        "time",
        "30 s",
        low="0 s",
        high="30 min",
        source="from memory",
        text="per marking: check film, beads and edges",
    )
    color_change_min: float = measure(
        "time",
        "6 min",
        low="0 min",
        high="60 min",
        source="from memory",
        text="flush or swap guns between two colors",
    )
    shift_start: str = choice("07:00", source="OP-093", text="clock time the shift begins")
    shift_min: float = measure(
        "time",
        "8 h",
        low="1 h",
        high="16 h",
        source="OP-093",
        text="working time of a shift, without lunch: 07:00-15:30 less half an hour",
    )
    lunch_start: str = choice("12:00", source="common practice", text="lunch begins not before")
    lunch_min: float = measure(
        "time", "30 min", low="0 min", high="2 h", source="common practice", text="unpaid break"
    )

    @field_validator("shift_start", "lunch_start")
    @classmethod
    def _clock(cls, value: str) -> str:
        if not _CLOCK.match(value):
            raise ValueError('expected a clock time such as "07:00"')
        return value


def minutes(markings: gpd.GeoDataFrame, params: CrewParams) -> pd.Series[float]:
    """Painting minutes of every marking, with the index of the table; 0 for markings to keep.

    A long line takes the time to drive its extent (from_ft to to_ft) at painting speed; every other
    marking its area at the spray rate plus one move of the truck.
    """
    extent_ft = (markings["to_ft"] - markings["from_ft"]).to_numpy(dtype=float)
    line = extent_ft / (params.line_mph * _FT_PER_MIN_AT_1_MPH)
    area_sqft = markings["area_sqft"].to_numpy(dtype=float)
    figure = area_sqft / params.spray_sqft_per_minute + params.pull_forward_min
    is_line = markings["is_line"].to_numpy(dtype=bool)
    total = np.where(is_line, line, figure) + params.inspection_min
    keep = (markings["action"] == KEEP).to_numpy(dtype=bool)
    return pd.Series(np.where(keep, 0.0, total), index=markings.index, name="minutes", dtype=float)


def job_minutes(painting_min: float, *, colors: int, is_line: bool, params: CrewParams) -> float:
    """Minutes at one job: set-up, painting, and the color changes within it."""
    cones = 0.0 if is_line else params.coning_min
    changes = max(colors - 1, 0) * params.color_change_min
    return params.position_min + cones + painting_min + changes


def clock_seconds(text: str) -> int:
    """Seconds from midnight of "07:00".

    Raises:
        ValueError: not a clock time.
    """
    found = _CLOCK.match(text)
    if found is None:
        raise ValueError(f'expected a clock time such as "07:00", got {text!r}')
    return int(found.group(1)) * 3600 + int(found.group(2)) * 60


def clock_text(seconds: float) -> str:
    """Clock time to the minute, "07:05"; a later day adds " +1"."""
    total = round(seconds / 60.0)
    day, minute = divmod(total, 24 * 60)
    text = f"{minute // 60:02d}:{minute % 60:02d}"
    return f"{text} +{day}" if day else text
