"""Working days and the hours in which the weather lets a crew paint."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layoutgen.tours.clock import Settings, TourParams, Visit
from layoutgen.work.time import clock_seconds

_HOUR_S = 3600


@dataclass(frozen=True)
class WorkDay:
    """One working day: its name, and the spans (seconds from midnight) open for painting."""

    date: str
    spans: tuple[tuple[int, int], ...]


def date_of(start: str, day: int) -> str:
    """Date of a working day, counted from 0 without Saturdays and Sundays; or its number."""
    if not start:
        return f"day {day + 1:02d}"
    first = np.busday_offset(np.datetime64(start), 0, roll="forward")
    return str(np.busday_offset(first, day))


def work_days(params: TourParams, hours: pd.DataFrame | None) -> list[WorkDay]:
    """Working days; hours beyond the table, and all without one, are open.

    Args:
        params: number of days and first date.
        hours: columns time (begin of the hour, local) and open.
    """
    dates = [date_of(params.start_date, day) for day in range(params.days)]
    if hours is None or not params.start_date:
        return [WorkDay(date, ((0, 2 * 24 * _HOUR_S),)) for date in dates]
    known = {time: bool(flag) for time, flag in zip(hours["time"], hours["open"], strict=True)}
    return [WorkDay(date, _spans(pd.Timestamp(date), known)) for date in dates]


def _spans(day: pd.Timestamp, known: dict[pd.Timestamp, bool]) -> tuple[tuple[int, int], ...]:
    """Runs of open hours of a day and the night after it."""
    flags = [known.get(day + pd.Timedelta(hours=hour), True) for hour in range(36)]
    steps = np.diff(np.concatenate([[0], np.array(flags, dtype=np.int64), [0]]))
    begins, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1)
    pairs = zip(begins.tolist(), ends.tolist(), strict=True)
    return tuple((a * _HOUR_S, b * _HOUR_S) for a, b in pairs)


def delay_into(visits: Sequence[Visit], day: WorkDay, settings: Settings) -> int | None:
    """Seconds by which a tour must begin later so that it paints in open hours; None = never.

    A day fits if the tour, begun with the shift or later, paints within one span and is back
    before the shift ends.
    """
    work = [visit for visit in visits if visit.kind == "job"]
    if not work:
        return 0
    crew = settings.crew
    end = clock_seconds(crew.shift_start) + round((crew.shift_min + crew.lunch_min) * 60)
    for first, last in day.spans:
        later = max(0, first - work[0].start_s)
        if work[-1].leave_s + later <= last and visits[-1].leave_s + later <= end:
            return later
    return None
