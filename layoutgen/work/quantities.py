"""Paint, beads and cost of every section, and their sums for the bid sheet.

Amounts are rounded once, at the section; every other figure is a sum of those, so that all papers
agree to the last digit. They are estimates for loading and bidding; pay quantities are what was
painted.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutgen.config import Params, choice, where
from layoutgen.errors import Finding
from layoutgen.gis.schema import layer
from layoutgen.work.bid_items import bid_item
from layoutgen.work.materials import MaterialParams, amounts

#: action of a marking that stays as it is
KEEP = "keep"
#: decimals of every stored amount
DIGITS = 4
#: square feet of a foot of 4 in line (row OP-218)
_SQFT_PER_LF_4_IN = 4.0 / 12.0
_KEYS = ["street", "item", "kind", "color", "material", "unit"]
AMOUNTS = ("paint_gal", "beads_lb", "primer_gal", "weight_lb", "cost")
#: what a case of `[paint]` may ask of a marking
PAINT_WHERE = ("kind", "style", "color", "street", "district", "rule")


class PaintParams(Params):
    """What markings are painted with."""

    material: str = choice(
        "waterborne", source="common practice", text="name of a table [materials.NAME]"
    )
    pavement: Literal["asphalt", "concrete"] = choice(
        "asphalt", source="common practice", text="decides about primer"
    )
    cases: tuple[dict[str, Any], ...] = choice(
        (), source="design", text="{ where = { kind = ... }, material = ... }, first match wins"
    )

    def names(self) -> tuple[str, ...]:
        """Every material that is asked for."""
        return (self.material, *(str(case.get("material", "")) for case in self.cases))


def choose_material(markings: gpd.GeoDataFrame, params: PaintParams) -> gpd.GeoDataFrame:
    """Markings with the material of the first case that they match."""
    chosen = np.full(len(markings), params.material, dtype=object)
    for case, hit in reversed(list(zip(params.cases, _hits(markings, params), strict=True))):
        chosen[hit] = case["material"]
    return markings.assign(material=chosen)


def idle_paint_cases(markings: gpd.GeoDataFrame, params: PaintParams) -> list[Finding]:
    """A warning for every case that no marking matches: mostly a misspelled word."""
    pairs = zip(params.cases, _hits(markings, params), strict=True)
    return [_idle(k, case) for k, (case, hit) in enumerate(pairs, start=1) if not hit.any()]


def _hits(markings: gpd.GeoDataFrame, params: PaintParams) -> list[NDArray[np.bool_]]:
    """For every case, which markings match it."""
    names = [n for n in PAINT_WHERE if n in markings]
    rows = markings[names].to_dict("records") if params.cases else []
    tests = [where(case["where"]) for case in params.cases]
    return [
        np.fromiter((one.matches(row) for row in rows), dtype=bool, count=len(rows))
        for one in tests
    ]


def _idle(number: int, case: Mapping[str, Any]) -> Finding:
    return Finding(
        code="paint_case_matches_nothing",
        severity="warning",
        source="work",
        feature_id=f"paint.cases[{number - 1}]",
        text=f"case {number} of [paint] ({case['where']}) fits no marking of this layout",
        fix="check the words against columns kind, style, color, rule of layer markings",
    )


def measure(
    sections: gpd.GeoDataFrame, materials: Mapping[str, MaterialParams], pavement: str
) -> gpd.GeoDataFrame:
    """Sections with paint_gal, beads_lb, primer_gal, weight_lb and cost, rounded.

    Args:
        sections: columns area_sqft, color, material.
        materials: by name; all that the sections name.
        pavement: asphalt or concrete.
    """
    parts = []
    for name, rows in sections.groupby("material", sort=True):
        found = amounts(rows["area_sqft"], rows["color"], materials[str(name)], pavement)
        found["beads_lb"] += found.pop("beads2_lb")
        parts.append(found.set_index(rows.index))
    none = pd.DataFrame(columns=list(AMOUNTS), dtype=float)
    table = (pd.concat(parts) if parts else none).reindex(sections.index)[list(AMOUNTS)]
    return sections.assign(**{name: table[name].round(DIGITS) for name in AMOUNTS})


def with_sums(markings: gpd.GeoDataFrame, sections: pd.DataFrame) -> gpd.GeoDataFrame:
    """Markings with the sums of their sections: amounts, minutes, painted_sqft; 0 where none."""
    columns = [*AMOUNTS, "minutes", "area_sqft"]
    sums = sections.groupby("marking_id")[columns].sum().reindex(markings["marking_id"])
    sums = sums.fillna(0.0).round(DIGITS).rename(columns={"area_sqft": "painted_sqft"})
    return markings.assign(**{str(name): sums[name].to_numpy() for name in sums})


def summarise(markings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Layer `quantities`: sums by street, bid item, kind, color and material; kept ones not.

    Needs the columns of `with_sums`.
    """
    rows = markings.loc[markings["action"] != KEEP].sort_values("marking_id", kind="stable")
    items = [bid_item(row) for row in rows.drop(columns="geometry").to_dict("records")]
    table = pd.DataFrame(rows.drop(columns="geometry", errors="ignore")).assign(
        item=[item for item, _ in items], unit=[unit for _, unit in items]
    )
    table = table.assign(**{key: table[key].fillna("").astype(str) for key in _KEYS})
    table = table.drop(columns="area_sqft")
    table = table.rename(columns={"painted_sqft": "area_sqft", "length_ft": "length_lf"})
    parts = table.groupby(_KEYS, sort=True)
    sums = parts[["area_sqft", "length_lf", *AMOUNTS, "minutes"]].sum()
    sums.insert(0, "count", parts.size())
    sums = sums.reset_index().round(dict.fromkeys((*AMOUNTS, "minutes", "area_sqft"), DIGITS))
    by_unit = {"EA": sums["count"], "LF": sums["length_lf"], "SF": sums["area_sqft"]}
    quantity = sum((sums["unit"] == unit) * amount for unit, amount in by_unit.items())
    sums["quantity"] = np.round(np.asarray(quantity, dtype=float), DIGITS)
    sums["equivalent_lf"] = (sums["area_sqft"] / _SQFT_PER_LF_4_IN).round(DIGITS)
    sums["length_lf"] = sums["length_lf"].round(DIGITS)
    return sums[[column.name for column in layer("quantities").columns]]
