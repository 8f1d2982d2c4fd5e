"""Rates that recorded work suggests for the settings, with their spread."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutgen.work.film import SQFT_PER_GAL_AT_1_MIL
from layoutgen.work.jobs import DONE
from layoutgen.work.time import CrewParams

#: fewer records than this propose nothing
LEAST = 5
_FT_PER_MIN_AT_1_MPH = 88.0


@dataclass(frozen=True)
class Proposal:
    """One setting as recorded: median, and the quarter of records below and above."""

    key: str
    present: float
    median: float
    low: float
    high: float
    count: int
    unit: str


def proposals(
    records: pd.DataFrame, sections: pd.DataFrame, crew: CrewParams, film_mil: dict[str, float]
) -> list[Proposal]:
    """Rates from painted sections with minutes or gallons; those with fewer than five are left out.

    Args:
        records: layer `records`.
        sections: layer `sections`.
        crew: present rates.
        film_mil: present film by material.
    """
    done = records[records["result"] == DONE]
    rows = done.merge(sections, on="section_id", suffixes=("", "_planned"))
    out = [_spray(rows, crew), _line(rows, crew)]
    out += [_film(part, str(name), film_mil) for name, part in rows.groupby("material", sort=True)]
    return [one for one in out if one is not None]


def _spray(rows: pd.DataFrame, crew: CrewParams) -> Proposal | None:
    """Square feet a minute, after the time to pull forward and to look."""
    still = rows[(rows["moving"] == 0) & rows["minutes"].notna()]
    net = still["minutes"] - crew.pull_forward_min - crew.inspection_min / still["pieces"]
    rate = (still["area_sqft"] * (1.0 + crew.tip_cleaning_percent / 100.0) / net)[net > 0.0]
    key, now = "crew.spray_sqft_per_minute", crew.spray_sqft_per_minute
    return _proposal(key, now, rate.to_numpy(dtype=float), "sq ft/min")


def _line(rows: pd.DataFrame, crew: CrewParams) -> Proposal | None:
    moving = rows[(rows["moving"] == 1) & rows["minutes"].notna() & (rows["minutes"] > 0.0)]
    mph = (moving["to_ft"] - moving["from_ft"]) / moving["minutes"] / _FT_PER_MIN_AT_1_MPH
    return _proposal("crew.line", crew.line_mph, mph.to_numpy(dtype=float), "mph")


def _film(rows: pd.DataFrame, name: str, film_mil: dict[str, float]) -> Proposal | None:
    """Film that the gallons used on each area mean."""
    sprayed = rows["paint_gal_planned"] > 0.0
    told = rows[rows["paint_gal"].notna() & (rows["area_sqft"] > 0.0) & sprayed]
    mils = told["paint_gal"] * SQFT_PER_GAL_AT_1_MIL / told["area_sqft"]
    key = f"materials.{name}.film"
    return _proposal(key, film_mil.get(name, np.nan), mils.to_numpy(dtype=float), "mil")


def _proposal(key: str, present: float, values: NDArray[np.float64], unit: str) -> Proposal | None:
    if len(values) < LEAST:
        return None
    low, median, high = (float(v) for v in np.percentile(values, [25, 50, 75]))
    return Proposal(key, float(present), median, low, high, len(values), unit)
