"""Weather gate: in which hours a material may be laid.

Hours come from a CSV file (station record or forecast) or, without one, from one planning hour of
the settings. An hour is open when air, pavement and humidity are within the limits of the material,
the pavement is warm enough over the dew point, and no rain falls before the film is dry or fell so
recently that the pavement is still wet. A plan only: the crew measures on the street.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutgen.config import Params, choice, measure, nearest, number
from layoutgen.errors import InputError
from layoutgen.work.materials import MaterialParams, Points

Bools = NDArray[np.bool_]
#: Magnus formula over water, constants of Alduchov and Eskridge (1996): no dimension, and deg C
_MAGNUS_A, _MAGNUS_B = 17.625, 243.04
#: columns of a table of hours; `pavement_is_air` tells where the air had to stand in
HOUR_COLUMNS = (
    "time",
    "air_f",
    "pavement_f",
    "humidity_percent",
    "dew_point_f",
    "rain_in",
    "pavement_is_air",
)
#: what a reading may be; outside it is a typing error or another unit
_RANGES = {
    "air_f": (-60.0, 140.0),
    "pavement_f": (-60.0, 200.0),
    "humidity_percent": (1.0, 100.0),
    "dew_point_f": (-100.0, 100.0),
    "rain_in": (0.0, 20.0),
}
_REQUIRED = ("time", "air_f", "humidity_percent")
_TINY = 1e-9


class WeatherParams(Params):
    """`[weather]`: hours from a file, or one planning hour."""

    file: str = choice("", source="design", text="CSV file of hours; empty = the planning hour")
    air_f: float = number(
        77.0, low=-60.0, high=140.0, source="OP-060", unit="F", text="planned air temperature"
    )
    pavement_f: float = number(
        77.0, low=-60.0, high=200.0, source="OP-060", unit="F", text="planned pavement temperature"
    )
    humidity_percent: float = number(
        50.0, low=1.0, high=100.0, source="OP-060", unit="%", text="planned relative humidity"
    )
    pavement_wet_min: float = measure(
        "time",
        "60 min",
        low="0 min",
        high="48 h",
        source="from memory",
        text="pavement stays wet this long after an hour with rain",
    )
    time_column: str = choice("time", source="design", text="column: begin of the hour, local time")
    air_column: str = choice("air_f", source="design", text="column: air temperature, F")
    pavement_column: str = choice(
        "pavement_f", source="design", text="column: pavement temperature, F; air where it is blank"
    )
    humidity_column: str = choice(
        "humidity_percent", source="design", text="column: relative humidity, percent"
    )
    dew_point_column: str = choice(
        "dew_point_f", source="design", text="column: dew point, F; computed where it is blank"
    )
    rain_column: str = choice(
        "rain_in", source="design", text="column: rain of the hour, inches; none where it is blank"
    )


def dew_point_f(air_f: ArrayLike, humidity_percent: ArrayLike) -> NDArray[np.float64]:
    """Dew point in F of air in F at a relative humidity over 0 to 100 percent (Magnus)."""
    air_c = (np.asarray(air_f, dtype=float) - 32.0) / 1.8
    share = np.asarray(humidity_percent, dtype=float) / 100.0
    gamma = np.log(share) + _MAGNUS_A * air_c / (_MAGNUS_B + air_c)
    return np.asarray(32.0 + 1.8 * _MAGNUS_B * gamma / (_MAGNUS_A - gamma))


def planning_hour(params: WeatherParams) -> pd.DataFrame:
    """The one hour of the settings, as a table of hours; it has no time and no rain."""
    row = {
        "time": pd.NaT,
        "air_f": params.air_f,
        "pavement_f": params.pavement_f,
        "humidity_percent": params.humidity_percent,
        "dew_point_f": float(dew_point_f(params.air_f, params.humidity_percent)),
        "rain_in": 0.0,
        "pavement_is_air": False,
    }
    return _table([row])


def read_hours(path: Path, params: WeatherParams | None = None) -> pd.DataFrame:
    """Hours of a CSV file, columns `HOUR_COLUMNS`, in order of time.

    Args:
        path: the file; its first line names the columns.
        params: names of the columns; the names of the table of hours where it is None.

    Raises:
        InputError: missing, unreadable or empty file, missing column, a cell that is not a time or
            a number in its range, hours not in order; the message names file and line.
    """
    names = _column_names(params or WeatherParams())
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(_rows(path, csv.DictReader(stream), names))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; set weather.file, or leave it empty.") from None
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        raise InputError(f"{path}: cannot be read as CSV in UTF-8 ({fault}).") from None
    if not rows:
        raise InputError(f"{path}: no hours in it; expected a line for every hour.")
    return _table(rows)


def open_hours(
    hours: pd.DataFrame, material: MaterialParams, params: WeatherParams | None = None
) -> Bools:
    """True for every hour in which the material may be laid, shape (n,)."""
    closed = np.zeros(len(hours), dtype=bool)
    for mask, _ in _limits(hours, material, params or WeatherParams()):
        closed |= mask
    return ~closed


def closed_reason(
    hours: pd.DataFrame, material: MaterialParams, params: WeatherParams | None = None
) -> pd.Series[str]:
    """Why each hour is closed, all reasons joined by "; "; empty for open hours; index of hours."""
    told: list[list[str]] = [[] for _ in range(len(hours))]
    for mask, text in _limits(hours, material, params or WeatherParams()):
        for at in np.flatnonzero(mask):
            told[at].append(text.format(**{str(k): v for k, v in hours.iloc[at].items()}))
    return pd.Series(["; ".join(t) for t in told], index=hours.index, name="closed", dtype=object)


def _limits(
    hours: pd.DataFrame, m: MaterialParams, params: WeatherParams
) -> Iterator[tuple[Bools, str]]:
    """(hours that break a limit, text of it with names of columns to fill in)."""
    air, pavement = hours["air_f"].to_numpy(), hours["pavement_f"].to_numpy()
    humidity, dew = hours["humidity_percent"].to_numpy(), hours["dew_point_f"].to_numpy()
    yield air < m.min_air_f, f"air {{air_f:.0f}} F, at least {m.min_air_f:g}"
    yield air > m.max_air_f, f"air {{air_f:.0f}} F, at most {m.max_air_f:g}"
    yield (
        pavement < m.min_pavement_f,
        f"pavement {{pavement_f:.0f}} F, at least {m.min_pavement_f:g}",
    )
    yield (
        pavement > m.max_pavement_f,
        f"pavement {{pavement_f:.0f}} F, at most {m.max_pavement_f:g}",
    )
    yield (
        humidity > m.max_humidity_percent,
        f"humidity {{humidity_percent:.0f}} %, at most {m.max_humidity_percent:g}",
    )
    yield (
        pavement < dew + m.dew_margin_f - _TINY,
        f"pavement {{pavement_f:.0f}} F, at least {m.dew_margin_f:g} above the dew point "
        "{dew_point_f:.0f}",
    )
    yield _rain_before_dry(hours, m.dry_min), "rain before it is dry"
    yield _wet(hours, params.pavement_wet_min), "pavement wet from rain"


def _rain_before_dry(hours: pd.DataFrame, dry_min: Points) -> Bools:
    """Rain in the hour, or before what is laid at its end has dried."""
    begin, rain = _minutes(hours), _rain_minutes(hours)
    temps, minutes = zip(*dry_min, strict=True)
    dry = np.interp(hours["air_f"].to_numpy(), temps, minutes)
    following = np.append(rain, np.inf)[np.searchsorted(rain, begin, side="left")]
    return np.asarray(following < begin + 60.0 + dry)


def _wet(hours: pd.DataFrame, wet_min: float) -> Bools:
    """Less than the drying time of the pavement after the end of an hour with rain."""
    begin, rain = _minutes(hours), _rain_minutes(hours)
    last = np.insert(rain, 0, -np.inf)[np.searchsorted(rain, begin, side="left")]
    return np.asarray(begin < last + 60.0 + wet_min)


def _minutes(hours: pd.DataFrame) -> NDArray[np.float64]:
    """Minutes from a fixed moment; the planning hour has none and stands far from any rain."""
    since = hours["time"] - pd.Timestamp("2000-01-01")
    return np.asarray(since.dt.total_seconds().fillna(0.0).to_numpy(dtype=float) / 60.0)


def _rain_minutes(hours: pd.DataFrame) -> NDArray[np.float64]:
    return np.asarray(np.sort(_minutes(hours)[hours["rain_in"].to_numpy() > 0.0]))


def _table(rows: list[dict[str, Any]]) -> pd.DataFrame:
    out = pd.DataFrame(rows, columns=list(HOUR_COLUMNS))
    return out.assign(time=pd.to_datetime(out["time"]))


def _column_names(params: WeatherParams) -> dict[str, str]:
    """Name of a column of the table of hours -> its name in the file."""
    return {
        "time": params.time_column,
        "air_f": params.air_column,
        "pavement_f": params.pavement_column,
        "humidity_percent": params.humidity_column,
        "dew_point_f": params.dew_point_column,
        "rain_in": params.rain_column,
    }


def _rows(
    path: Path, reader: csv.DictReader[str], names: Mapping[str, str]
) -> Iterator[dict[str, Any]]:
    _need_columns(path, reader.fieldnames or (), names)
    last: datetime | None = None
    for cells in reader:
        place = f"{path}:{reader.line_num}"
        if None in cells or None in cells.values():
            raise InputError(f"{place}: not as many cells as the first line names.")
        row = _row(place, cells, names)
        if last is not None and row["time"] <= last:
            raise InputError(f"{place}: {row['time']} does not follow {last}; sort, no hour twice.")
        last = row["time"]
        yield row


def _need_columns(path: Path, found: Any, names: Mapping[str, str]) -> None:
    for name in _REQUIRED:
        if names[name] not in found:
            hint = nearest(names[name], found) if found else ""
            raise InputError(f"{path}:1: no column {names[name]!r} for {name}.{hint}")


def _row(place: str, cells: Mapping[str, str], names: Mapping[str, str]) -> dict[str, Any]:
    """One hour; what is blank or has no column is filled in, but air and humidity must be there."""
    numbers = {name: _number(place, cells, names[name], name) for name in _RANGES}
    air, humidity = numbers["air_f"], numbers["humidity_percent"]
    for name in ("air_f", "humidity_percent"):
        if numbers[name] is None:
            raise InputError(f"{place}: {names[name]}: blank; every hour needs it.")
    pavement, dew = numbers["pavement_f"], numbers["dew_point_f"]
    return {
        "time": _time(place, cells[names["time"]], names["time"]),
        "air_f": air,
        "pavement_f": air if pavement is None else pavement,
        "humidity_percent": humidity,
        "dew_point_f": float(dew_point_f(air or 0.0, humidity or 1.0)) if dew is None else dew,
        "rain_in": numbers["rain_in"] or 0.0,
        "pavement_is_air": pavement is None,
    }


def _time(place: str, text: str, column: str) -> datetime:
    try:
        time = datetime.fromisoformat(text.strip())
    except ValueError:
        wanted = "expected a time such as 2026-06-03 07:00"
        raise InputError(f"{place}: {column}: {wanted}, got {text!r}.") from None
    if time.tzinfo is not None:
        raise InputError(f"{place}: {column}: {text!r} has a zone; write local clock time.")
    return time


def _number(place: str, cells: Mapping[str, str], column: str, name: str) -> float | None:
    """Number of a cell in its range; None where it is blank or the file has no such column."""
    text = cells.get(column, "").strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise InputError(f"{place}: {column}: expected a number, got {text!r}.") from None
    low, high = _RANGES[name]
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"{place}: {column}: {text} is outside {low:g} to {high:g} ({name}).")
    return value
