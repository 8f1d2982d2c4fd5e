"""Minutes of the crew: painting a marking, serving a set-up, and the clock of a shift.

Production differs ten-fold between agencies (rows OP-088 and OP-104 of the trade's figures), so
every rate is a setting; put the numbers of your own daily logs here.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
from pydantic import field_validator

from layoutgen.config import Params, choice, measure, number

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
        text="per section: pull the truck forward and place the applicator",
    )
    inspection_min: float = measure(
        "time",
        "30 s",
        low="0 s",
        high="30 min",
        source="from memory",
        text="per marking: check film, beads and edges",
    )
    return_min: float = measure(
        "time",
        "2 min",
        low="0 min",
        high="30 min",
        source="from memory",
        text="drive round to a place behind for another pass of a job; trucks do not back up",
    )
    tip_cleaning_percent: float = number(
        5.0,
        low=0.0,
        high=100.0,
        source="from memory",
        unit="%",
        text="reserve on spraying for clogged tips and wiping the template",
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

    @property
    def is_night(self) -> bool:
        """Whether the shift begins in the evening or before dawn (from memory: 18:00 to 05:00)."""
        return not "05:00" <= self.shift_start < "18:00"

    @field_validator("shift_start", "lunch_start")
    @classmethod
    def _clock(cls, value: str) -> str:
        if not _CLOCK.match(value):
            raise ValueError('expected a clock time such as "07:00"')
        return value


def section_minutes(sections: pd.DataFrame, params: CrewParams, pass_ft: float) -> pd.Series[float]:
    """Minutes to position and paint every section, with the index of the table.

    A line painted while driving along takes the time to drive its extent at painting speed, once
    for every pass; every other section one move of the truck and its area at the spray rate, with
    the reserve for cleaning tips. Looking at the marking afterwards is shared by its sections.

    Args:
        sections: columns moving, from_ft, to_ft, width_ft, area_sqft, pieces.
        params: rates.
        pass_ft: widest line in one pass.
    """
    extent_ft = (sections["to_ft"] - sections["from_ft"]).to_numpy(dtype=float)
    passes = np.maximum(np.ceil(sections["width_ft"].to_numpy(dtype=float) / pass_ft - 1e-6), 1.0)
    line = passes * extent_ft / (params.line_mph * _FT_PER_MIN_AT_1_MPH)
    spraying = sections["area_sqft"].to_numpy(dtype=float) / params.spray_sqft_per_minute
    reserve = 1.0 + params.tip_cleaning_percent / 100.0
    still = spraying * reserve + params.pull_forward_min
    moving = sections["moving"].to_numpy(dtype=bool)
    look = params.inspection_min / sections["pieces"].to_numpy(dtype=float)
    total = np.round(np.where(moving, line * reserve, still) + look, 4)
    return pd.Series(total, index=sections.index, name="minutes", dtype=float)


def around_min(params: CrewParams, *, moving: bool) -> float:
    """Minutes at a job before and after painting: placing the truck, cones out and in."""
    return params.position_min + (0.0 if moving else params.coning_min)


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
