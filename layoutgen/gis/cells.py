"""Cells of other people's tables -> our values: texts, numbers with units, yes and no, codes."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
import pandas as pd

from layoutgen.config import UNITS
from layoutgen.gis.roles import Field

_NUMBER = re.compile(r"^\s*([-+]?[0-9]*\.?[0-9]+)\s*(mph|km/h|kmh|kph|knots|ft|m|cm|in|')?\s*$")
_FEET_INCHES = re.compile(r"""^\s*([0-9]+)'\s*([0-9]*\.?[0-9]+)(?:"|\'\')\s*$""")
#: unit and dimension of a field by the end of its name
FIELD_UNIT = {"_ft": ("ft", "length"), "_mph": ("mph", "speed")}
#: numbers that may be negative; elsewhere -1, -9999 and the like stand for "unknown"
_SIGNED = ("bearing_deg", "level", "level_from", "level_to")
#: beyond these a number is no measure of a street
_MOST = {
    "lanes": 20,
    "lanes_forward": 12,
    "lanes_backward": 12,
    "width_ft": 400.0,
    "median_ft": 200.0,
    "speed_mph": 120.0,
    "tracks": 20,
    "length_ft": 100.0,
}
_YES = {"yes", "y", "true", "t", "1", "-1"}
_NO = {"no", "n", "false", "f", "0", ""}


def meaning(text: str, codes: Mapping[str, str]) -> str:
    """Our value of a code: as listed, else by the first pattern that fits, else as it is."""
    low = text.casefold()
    if low in codes:
        return codes[low]
    fits = (ours for code, ours in codes.items() if any(sign in code for sign in "*?")
            and fnmatchcase(low, code))  # fmt: skip
    return next(fits, text) if text else text


def parsed(text: str, fld: Field, unit: str) -> tuple[Any, bool]:
    """(value or None, understood?) of one text."""
    if not text:
        return None, True
    if fld.type == "text":
        return text, True
    if fld.type == "choice":
        return (text, True) if text in fld.choices else (None, False)
    if fld.type == "yes_no":
        low = text.casefold()
        return (low in _YES, True) if low in _YES | _NO else (None, False)
    return _parse_number(text, fld, unit)


def cell_text(value: Any) -> str:
    """A cell as trimmed text; whole floats lose their ".0", missing values become empty."""
    if value is None or (isinstance(value, float) and np.isnan(value)) or value is pd.NA:
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating) and float(value).is_integer():
        return str(int(value))
    if isinstance(value, list | np.ndarray):
        return ";".join(cell_text(v) for v in value)
    return " ".join(str(value).split())


def _parse_number(text: str, fld: Field, unit: str) -> tuple[Any, bool]:
    feet = _FEET_INCHES.match(text)
    if feet and fld.name.endswith("_ft"):
        text = f"{float(feet.group(1)) + float(feet.group(2)) / 12.0:.6f} ft"
    match = _NUMBER.match(text)
    if match is None:
        return None, False
    value = float(match.group(1))
    own, _ = next((u for end, u in FIELD_UNIT.items() if fld.name.endswith(end)), ("", ""))
    given = {"'": "ft", "kmh": "km/h", "kph": "km/h"}.get(
        match.group(2) or "", match.group(2) or ""
    ) or unit
    if own and given:
        value *= UNITS[given][1] / UNITS[own][1] if given in UNITS else 1.0
    if (value < 0 and fld.name not in _SIGNED) or abs(value) > _MOST.get(fld.name, math.inf):
        return None, False
    if fld.type == "integer":
        return (int(value), True) if value == int(value) else (None, False)
    return value, True
