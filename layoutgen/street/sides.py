"""On which side of a street a line of another layer holds.

Left and right in a table are seen along its own lines; here they become left and right of the axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutgen.geometry.polyline import Ints
from layoutgen.street.design import Side
from layoutgen.street.network import Network
from layoutgen.street.overlap import oneways

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Told:
    """What the rows of a table say: side in words, and direction of the traffic beside (or 0)."""

    sides: Sequence[str]
    travel: Ints


def sides_of(
    stretches: pd.DataFrame, told: Told, network: Network, driving: Side, on_axis_ft: float
) -> tuple[Bools, Bools]:
    """(n, 2) whether each stretch holds on the left and on the right of the axis; and (n,) whether
    that had to be assumed, because neither words nor the place of the line tell."""
    row = stretches["row"].to_numpy()
    text = np.array(told.sides, dtype=object)[row]
    way, offset = stretches["way"].to_numpy(), stretches["offset_ft"].to_numpy()
    sense = oneways(network)[stretches["segment"].to_numpy()]
    hand = 1 if driving == "right" else -1
    drawn, travel = np.abs(offset) > on_axis_ft, told.travel[row] * way
    heading = np.where(sense != 0, sense, np.where(travel != 0, travel, way))
    beside = np.where(drawn, offset > 0, heading * hand > 0)
    with_traffic = (text == "with_traffic") & ((sense != 0) | (travel != 0))
    right = np.where(with_traffic, heading * hand > 0, beside)
    right = np.where(text == "right", way > 0, np.where(text == "left", way < 0, right))
    divided = stretches["paired"].to_numpy() & (sense != 0)
    both = ((text == "both") | ((text == "") & ~drawn & (sense == 0))) & ~divided
    right = np.where(divided & (text == "both"), sense * hand > 0, right)
    is_open = np.isin(text, ("one", "with_traffic")) & (sense == 0) & (travel == 0)
    assumed = ~drawn & (is_open | (text == ""))
    return np.column_stack([~right | both, right | both]), assumed
