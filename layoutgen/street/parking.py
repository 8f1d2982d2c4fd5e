"""Parking of a layer of its own -> claims on sides of streets."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from layoutgen.errors import Finding
from layoutgen.street.conflation import Account, claims_of, row_keys
from layoutgen.street.design import Side
from layoutgen.street.network import Network
from layoutgen.street.overlap import ConflationParams, Overlay, along, single_lines
from layoutgen.street.sides import Told, sides_of

ROLE = "parking"
_STRENGTH = ("none", "parallel", "angle")


def parking_claims(
    network: Network, table: gpd.GeoDataFrame, params: ConflationParams, side: Side
) -> tuple[pd.DataFrame, Account, list[Finding]]:
    """Claims of the role `parking`, the account of its length, and findings."""
    unknown = int(table["kind"].isna().sum())
    text = f"{unknown} rows do not say what they are; they were left out"
    fix = f"map kind in [inputs.{ROLE}.fields] and its codes in values"
    findings = [Finding("parking_unknown", "error", ROLE, "", text, fix, None, unknown)]
    table = table[table["kind"].notna()].reset_index(drop=True)
    lines, row, found = single_lines(table, ROLE)
    words = [text or "" for text in table["side"]]
    travel = np.zeros(len(table), dtype=np.int64)
    paired = np.isin(np.array(words, dtype=object), ("both", ""))
    overlay = Overlay(lines, row, travel, [name or "" for name in table["name"]], paired)
    steps, stretches = along(network, overlay, params)
    held, assumed = sides_of(stretches, Told(words, travel), network, side, params.on_axis_ft)
    kinds = table["kind"].to_numpy(dtype=object)
    account = Account(ROLE, row_keys(table), overlay, steps, tuple(kinds))
    kind = kinds[stretches["row"]]
    strength = np.array([_STRENGTH.index(k) for k in kind], dtype=np.int64)
    claims = claims_of(stretches.assign(kind=kind, strength=strength), held, account)
    found += account.assumed(stretches[assumed])
    return claims, account, findings[: int(unknown > 0)] + found
