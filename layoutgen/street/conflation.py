"""What becomes of layers laid along the streets: their claims, and an account of every foot."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.errors import Finding
from layoutgen.gis.clean import stable_id
from layoutgen.street import overlap
from layoutgen.street.overlap import MATCHED, TAKEN, ConflationParams, Overlay, Steps
from layoutgen.street.stretches import CLAIMS

#: why a step is on no street
_REASONS = {
    overlap.FAR: "no street within {reach:.0f} ft",
    overlap.BEYOND: "beyond the end of a street",
    overlap.ANGLE: "the street near crosses at an angle",
    overlap.NAME: "the street near has another name",
    overlap.WAY: "the street near is one-way in the other direction",
    overlap.TOUCH: "too short a stretch along a street",
    overlap.UNFIT: "contraflow, but the street is two-way",
    overlap.TAKEN: "the side is taken by {by}",
}
_SHOWN = 5


@dataclass(frozen=True)
class Account:
    """Where every foot of a layer went.

    Attributes:
        role: input role.
        keys: id per row.
        overlay, steps: its lines, and where each step of them lies.
        kinds: what each row says it is.
    """

    role: str
    keys: tuple[str, ...]
    overlay: Overlay
    steps: Steps
    kinds: tuple[str, ...]

    def assumed(self, stretches: pd.DataFrame) -> list[Finding]:
        """A finding about rows whose side had to be assumed."""
        rows = sorted({self.keys[i] for i in stretches["row"]})
        if not rows:
            return []
        feet = (stretches["stop_ft"] - stretches["start_ft"]).sum()
        more = ", ..." if len(rows) > _SHOWN else ""
        text = (
            f"{len(rows)} rows ({feet:,.0f} ft) neither say their side nor lie beside the axis; "
            f"it was assumed: {', '.join(rows[:_SHOWN])}{more}"
        )
        fix = "give side, or direction"
        return [Finding("side_assumed", "warning", self.role, "", text, fix)]

    def settled(self, fate: pd.DataFrame) -> tuple[Account, NDArray[np.object_]]:
        """The account after contradictions were settled, and per step the row that took it."""
        steps = self.steps
        own = pd.DataFrame({"row": steps.row, "segment": steps.segment, "at": steps.station_ft})
        pairs = own.reset_index().merge(fate, on=["row", "segment"])
        pairs = pairs[(pairs["at"] >= pairs["start_ft"]) & (pairs["at"] <= pairs["stop_ft"])]
        held = pairs.groupby("index").agg(holds=("holds", "max"), by=("taken_by", "first"))
        lost = held[~held["holds"]]
        state, by = steps.state.copy(), np.full(len(steps.row), "", dtype=object)
        index = lost.index.to_numpy()
        state[index], by[index] = TAKEN, lost["by"]
        return replace(self, steps=replace(steps, state=state)), by

    def findings(self, by: NDArray[np.object_], params: ConflationParams) -> list[Finding]:
        """Every foot that is on no street: a finding per row, and one for all short remains."""
        steps = self.steps
        frame = pd.DataFrame({"row": steps.row, "feet": steps.length_ft, "state": steps.state})
        frame = frame.assign(by=by, place=np.arange(len(frame)))
        total = frame.groupby("row")["feet"].sum()
        lost = frame[frame["state"] != MATCHED]
        feet = lost.groupby("row")["feet"].sum()
        whole = feet >= total[feet.index] - 1e-6
        is_long = whole | (feet > params.uncovered_ft)
        out = [
            self._finding(lost[lost["row"] == row], float(total[row]), bool(whole[row]), params)
            for row in feet.index[is_long]
        ]
        rest = feet[~is_long]
        if len(rest):
            place = self._place(lost[lost["row"].isin(rest.index)]["place"])
            text = (
                f"{len(rest)} rows run off their street for {params.uncovered_ft:.0f} ft or less "
                f"each, {rest.sum():,.0f} ft together"
            )
            out.append(Finding("short_remains", "notice", self.role, "", text, "", place))
        return out

    def _finding(
        self, lost: pd.DataFrame, total: float, whole: bool, params: ConflationParams
    ) -> Finding:
        row = int(lost["row"].iloc[0])
        sums = lost.groupby(["state", "by"])["feet"].sum().reset_index()
        sums = sums.sort_values(["feet", "state"], ascending=False)
        first = int(sums["state"].iloc[0])
        parts = [
            f"{feet:,.0f} ft: {_REASONS[int(state)].format(reach=params.reach_ft, by=by)}"
            for state, by, feet in zip(sums["state"], sums["by"], sums["feet"], strict=True)
        ]
        text = (
            f"{self.kinds[row]}: {lost['feet'].sum():,.0f} of {total:,.0f} ft are on no street "
            f"({'; '.join(parts)})"
        )
        fix = f"correct the line or the row, or see [conflation] ({_key(first)})"
        place = self._place(lost["place"])
        return Finding(
            "not_on_street", "warning", self.role, self.keys[row], text, fix, place, int(whole)
        )

    def _place(self, which: pd.Series[int]) -> object:
        """Steps as lines."""
        steps, i = self.steps, which.to_numpy()
        half = steps.length_ft[i] / 2
        at = steps.at_ft[i]
        parts = self.overlay.lines.pieces(steps.line[i], at - half, at + half)
        return shapely.line_merge(shapely.multilinestrings(parts))


def row_keys(table: gpd.GeoDataFrame) -> tuple[str, ...]:
    """Id of every row, made from the geometry where there is none."""
    ids = table.iloc[:, 0]
    return tuple(
        str(i) if isinstance(i, str) and i else "" if line is None else stable_id(line)
        for i, line in zip(ids, table.geometry, strict=True)
    )


def claims_of(stretches: pd.DataFrame, held: NDArray[np.bool_], account: Account) -> pd.DataFrame:
    """Claims of stretches with a kind and a strength, one per side they hold."""
    which, side = np.nonzero(held)
    out = stretches.iloc[which].assign(side=side, field=account.role)
    out = out.assign(sides=held.sum(axis=1)[which])
    keys = np.array(account.keys, dtype=object)
    return out.assign(key=keys[out["row"].to_numpy()])[CLAIMS].reset_index(drop=True)


def _key(state: int) -> str:
    """The setting that decides about a reason."""
    settings = {overlap.ANGLE: "max_angle", overlap.TOUCH: "least_share, uncovered"}
    return settings.get(state, "reach")
