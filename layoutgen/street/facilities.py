"""Bike facilities of a layer of their own -> claims on sides of streets."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.errors import Finding
from layoutgen.street.conflation import Account, claims_of, row_keys
from layoutgen.street.design import BIKE_KINDS, Side
from layoutgen.street.network import Network
from layoutgen.street.overlap import UNFIT, ConflationParams, Overlay, along, oneways, single_lines
from layoutgen.street.sides import Told, sides_of

ROLE = "bike_facilities"
_TRAVEL = {"forward": 1, "backward": -1}


def bike_claims(
    network: Network, table: gpd.GeoDataFrame, params: ConflationParams, side: Side
) -> tuple[pd.DataFrame, Account, list[Finding]]:
    """Claims of the role `bike_facilities`, the account of its length, and findings."""
    table, findings = _usable(table)
    lines, row, found = single_lines(table, ROLE)
    kinds = table["facility"].to_numpy(dtype=object)
    travel = np.array([_TRAVEL.get(way, 0) for way in table["direction"]], dtype=np.int64)
    # the traffic beside a contraflow lane goes the other way
    travel = np.where(kinds == "contraflow", -travel, travel)
    words = [text or "" for text in table["side"]]
    paired = np.isin(np.array(words, dtype=object), ("both", "")) & (kinds != "contraflow")
    overlay = Overlay(lines, row, travel, [name or "" for name in table["name"]], paired)
    steps, stretches = along(network, overlay, params)
    held, assumed = sides_of(stretches, Told(words, travel), network, side, params.on_axis_ft)
    kind = kinds[stretches["row"]]
    both_ways = (table["direction"] == "both").to_numpy()[stretches["row"]]
    track = np.isin(kind, ("buffered", "separated")) & both_ways & (held.sum(axis=1) == 1)
    kind = np.where(track & ~stretches["paired"].to_numpy(), "two_way", kind)
    against = kind == "contraflow"
    sense = oneways(network)[stretches["segment"]]
    told = np.isin(np.array(words, dtype=object)[stretches["row"]], ("left", "right"))
    left = sense > 0 if side == "right" else sense < 0
    held = np.where((against & ~told)[:, None], np.column_stack([left, ~left]), held)
    fits = ~(against & (sense == 0))
    steps = steps.without(stretches[~fits], UNFIT)
    account = Account(ROLE, row_keys(table), overlay, steps, tuple(kinds))
    found += account.assumed(stretches[assumed & fits & ~against])
    strength = np.array([BIKE_KINDS.index(k) for k in kind], dtype=np.int64)
    stretches = stretches.assign(kind=kind, strength=strength)
    claims = claims_of(stretches[fits], held[fits], account)
    return claims, account, findings + found


def _usable(table: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Rows that can be on a street; one finding each about paths and rows of no known kind."""
    kind = table["facility"]
    groups = [
        ("path_off_street", "notice", kind == "path",
         "are paths: they are not on a street and get no strips", ""),
        ("facility_unknown", "error", kind.isna(),
         "do not say what they are; they were left out",
         f"map facility in [inputs.{ROLE}.fields] and its codes in values"),
    ]  # fmt: skip
    findings = []
    for code, severity, mask, text, fix in groups:
        shapes = table.geometry[mask]
        if mask.any():
            said = f"{int(mask.sum())} rows ({shapes.length.sum():,.0f} ft) {text}"
            place = shapes[shapes.notna()].union_all() if shapes.notna().any() else None
            findings.append(
                Finding(code, severity, ROLE, "", said, fix, place, int(mask.sum()))  # type: ignore[arg-type]
            )
    left = table[~(groups[0][2] | groups[1][2])]
    return left.reset_index(drop=True), findings
