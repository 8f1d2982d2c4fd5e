"""Paint, beads and cost of every marking, and their sums for the bid sheet.

Wet paint is area times film thickness and nothing else (rows OP-001 to OP-036 of `operations.csv`
all follow from it): one US gallon is 231 cubic inches, so at 1 mil it covers 1604.17 square feet.
Rows measured here are estimates for loading and bidding; pay quantities are what was painted.
"""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from layoutgen.config import Params, number
from layoutgen.config import measure as setting
from layoutgen.errors import Finding
from layoutgen.gis.schema import layer

#: square feet that one gallon covers at 1 mil: 231 cu in / (144 sq in x 0.001 in), row OP-001
SQFT_PER_GAL_AT_1_MIL = 231.0 / (144.0 * 0.001)
#: materials that come as a sheet or as a melt: no wet film, measured by another rule
NOT_SPRAYED = ("thermoplastic", "preformed", "tape")
#: action of a marking that stays as it is
KEEP = "keep"
_KEYS = ["street", "kind", "color", "material"]


class PaintParams(Params):
    """Film, beads and prices."""

    film_mil: float = setting(
        "film",
        "15 mil",
        low="4 mil",
        high="40 mil",
        source="OP-005",
        text="wet film thickness, all paints",
    )
    beads_lb_per_gallon: float = number(
        6.0,
        low=0.0,
        high=25.0,
        source="OP-038",
        unit="lb/gal",
        text="glass beads dropped on white, yellow and every other color but green",
    )
    green_beads_lb_per_gallon: float = number(
        0.0,
        low=0.0,
        high=25.0,
        source="from memory",
        unit="lb/gal",
        text="glass beads on green pavement; row OP-049: not every marking gets beads",
    )
    waste_percent: float = number(
        0.0,
        low=0.0,
        high=30.0,
        source="OP-013",
        unit="%",
        text="paint lost in hoses, cleaning and overspray; the printed tables count none",
    )
    white_price: float = number(
        20.0, low=0.0, high=500.0, source="from memory", text="price of a gallon of white"
    )
    yellow_price: float = number(
        20.0, low=0.0, high=500.0, source="from memory", text="price of a gallon of yellow"
    )
    green_price: float = number(
        60.0, low=0.0, high=500.0, source="from memory", text="price of a gallon of green"
    )
    other_price: float = number(
        30.0, low=0.0, high=500.0, source="from memory", text="price of a gallon of other colors"
    )
    beads_price: float = number(
        0.75, low=0.0, high=20.0, source="from memory", text="price of a pound of beads"
    )

    def price(self, color: str) -> float:
        """Price of a gallon."""
        return float(getattr(self, f"{color}_price", self.other_price))

    def beads_lb(self, color: str) -> float:
        """Pounds of beads on a gallon."""
        return self.green_beads_lb_per_gallon if color == "green" else self.beads_lb_per_gallon


def film_gal(area_sqft: ArrayLike, film_mil: float) -> NDArray[np.float64]:
    """Gallons of wet paint on an area, film in mils (row OP-001)."""
    return np.asarray(np.asarray(area_sqft, dtype=float) * film_mil / SQFT_PER_GAL_AT_1_MIL)


def measure(
    markings: gpd.GeoDataFrame, params: PaintParams
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings with columns paint_gal, beads_lb and cost added; the input is not changed.

    Markings to keep need nothing. Materials that are not sprayed get no paint, and a finding each.
    """
    out = markings.copy()
    sprayed = ~_not_sprayed(out["material"])
    work = sprayed & (out["action"] != KEEP)
    gross = film_gal(out["area_sqft"], params.film_mil) * (1.0 + params.waste_percent / 100.0)
    color = out["color"].astype(str)
    out["paint_gal"] = np.where(work, gross, 0.0)
    out["beads_lb"] = out["paint_gal"] * _by_color(color, params.beads_lb)
    price = _by_color(color, params.price)
    out["cost"] = out["paint_gal"] * price + out["beads_lb"] * params.beads_price
    return out, _unmeasured(out.loc[~sprayed & (out["action"] != KEEP)])


def summarise(markings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Layer `quantities`: sums by street, kind, color and material, sorted; markings to keep not.

    Needs the columns of `measure` and a column `minutes` (painting time, `work.time`).
    """
    rows = markings.loc[markings["action"] != KEEP].sort_values("marking_id", kind="stable")
    sums = (
        pd.DataFrame(rows.drop(columns="geometry", errors="ignore"))
        .assign(**{key: rows[key].fillna("").astype(str) for key in _KEYS})
        .groupby(_KEYS, sort=True)
        .agg(
            count=("marking_id", "size"),
            area_sqft=("area_sqft", "sum"),
            length_lf=("length_ft", "sum"),
            paint_gal=("paint_gal", "sum"),
            beads_lb=("beads_lb", "sum"),
            minutes=("minutes", "sum"),
            cost=("cost", "sum"),
        )
        .reset_index()
    )
    return sums[[column.name for column in layer("quantities").columns]]


def _not_sprayed(material: pd.Series[str]) -> pd.Series[bool]:
    return material.fillna("").astype(str).str.contains("|".join(NOT_SPRAYED), case=False)


def _by_color(color: pd.Series[str], of: Callable[[str], float]) -> pd.Series[float]:
    """Number of every row from a function of its color."""
    return color.map({name: float(of(name)) for name in color.unique()}).astype(float)


def _unmeasured(rows: gpd.GeoDataFrame) -> list[Finding]:
    """One finding per material that has no wet film."""
    counts = rows["material"].astype(str).value_counts().sort_index()
    return [
        Finding(
            code="material_not_measured",
            severity="warning",
            source="work",
            feature_id=str(material),
            text=f"{count} markings of {material}: no paint, beads or cost were counted.",
            fix="Count this material by area or by piece, or set the material to paint.",
        )
        for material, count in counts.items()
    ]
