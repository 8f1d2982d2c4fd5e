"""Lines of another layer laid along the streets: which stretch of which segment each runs beside.

The lines may stand aside of the axes and be split elsewhere. They are walked in short steps; every
step goes to the segment that lies near, runs the same way, has the same name (where both have one)
and is the best match over all steps of the line. Steps without a segment keep the reason.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutgen.config import Params, length, measure, number
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Floats, Ints, Polylines
from layoutgen.street.network import Network

#: length of a step along a line
_STEP_FT = 10.0
#: directions are taken over this length to either side, so that a kink does not turn them
_CHORD_FT = 15.0
#: how far a step may lie beyond the end of a segment: on the outside of a bend both fall short
_BEYOND_FT = 20.0
#: what a degree between line and segment, and a segment hardly covered, weigh against a foot
_FT_PER_DEG, _FT_UNCOVERED = 1.5, 20.0
#: a stretch has the other roadway too where most of its steps have
_MOST = 0.5
#: words of street names, long and short (from memory: USPS Publication 28)
_WORDS = """
street st, avenue ave, av ave, road rd, drive dr, lane ln, boulevard blvd, place pl, court ct,
highway hwy, parkway pkwy, square sq, terrace ter, terr ter, circle cir, alley aly, trail trl,
north n, south s, east e, west w, northeast ne, northwest nw, southeast se, southwest sw, saint st
"""
#: what is wrong with a step, the worst first; a step keeps the mildest of its segments
FAR, BEYOND, ANGLE, NAME, WAY, TOUCH, UNFIT, TAKEN, MATCHED = range(9)


class ConflationParams(Params):
    """`[conflation]`: how lines of bike facilities and parking find their streets."""

    reach_ft: float = length(
        "50 ft",
        low="5 ft",
        high="150 ft",
        source="common practice",
        text="a line may stand this far from the axis of its street",
    )
    max_angle_deg: float = measure(
        "angle",
        "25 deg",
        low="5 deg",
        high="45 deg",
        source="common practice",
        text="a line that runs at a greater angle crosses the street",
    )
    uncovered_ft: float = length(
        "60 ft",
        low="20 ft",
        high="300 ft",
        source="common practice",
        text="a street is split where more than this is not covered; else its whole block counts",
    )
    least_share: float = number(
        0.5,
        low=0.1,
        high=1.0,
        source="common practice",
        text="an overlap shorter than `uncovered` counts if it covers this share of the block",
    )
    on_axis_ft: float = length(
        "4 ft",
        low="0 ft",
        high="20 ft",
        source="common practice",
        text="a line nearer to the axis than this does not tell its side",
    )


@dataclass(frozen=True)
class Overlay:
    """Lines of another layer.

    Attributes:
        lines: single lines of some length.
        row: row of each line in its table.
        travel: per row, traffic beside it goes along the line (+1), against it (-1), unknown (0).
        names: per row, the name of its street, or empty.
        paired: per row, whether it speaks for both roadways of a divided street.
    """

    lines: Polylines
    row: Ints
    travel: Ints
    names: Sequence[str]
    paired: NDArray[np.bool_]


@dataclass(frozen=True)
class Steps:
    """Short steps along all lines of an overlay, in their order.

    Attributes:
        row, line: row of the table, line of the overlay.
        at_ft, length_ft: station of the middle along the line, and length.
        segment: the segment it runs along, or -1.
        station_ft: station there.
        state: MATCHED, or why it has no segment.
    """

    row: Ints
    line: Ints
    at_ft: Floats
    length_ft: Floats
    segment: Ints
    station_ft: Floats
    state: Ints

    def without(self, stretches: pd.DataFrame, state: int) -> Steps:
        """The steps with those of some stretches taken off their segment, for a reason."""
        pairs = pd.MultiIndex.from_arrays([self.row, self.segment])
        gone = pairs.isin(pd.MultiIndex.from_frame(stretches[["row", "segment"]]))
        return replace(
            self,
            segment=np.where(gone, -1, self.segment),
            state=np.where(gone, state, self.state),
        )


def single_lines(table: gpd.GeoDataFrame, role: str) -> tuple[Polylines, Ints, list[Finding]]:
    """Lines of a table with the row of each, and a finding about rows that have none."""
    shapes = table.geometry.to_numpy()
    parts, row = shapely.get_parts(shapes, return_index=True)
    xy, owner = shapely.get_coordinates(parts, return_index=True)
    broken = np.zeros(len(parts), dtype=bool)
    broken[owner[~np.isfinite(xy).all(axis=1)]] = True
    good = (shapely.get_type_id(parts) == 1) & ~broken
    good[good] = shapely.length(parts[good]) > 0
    gone = len(table) - len(np.unique(row[good]))
    text = f"{gone} rows have no usable line"
    found = Finding("null_geometry", "warning", role, "", text, "redraw them", rows=gone)
    return Polylines.from_lines(parts[good]), row[good].astype(np.int64), [found] if gone else []


def along(
    network: Network, overlay: Overlay, params: ConflationParams
) -> tuple[Steps, pd.DataFrame]:
    """Every step with its segment, and the stretches of segments that the rows run along.

    A stretch (row, segment, start_ft, stop_ft) has `way` (+1 where the line is drawn along the
    segment), `offset_ft` (of the line from the axis, positive to the right), and `paired` (the row
    also runs along the opposite roadway).
    """
    steps = _steps(overlay.lines, overlay.row)
    tried = _tried(network, overlay, steps, params)
    state = np.full(len(steps.row), FAR)
    np.maximum.at(state, tried["step"].to_numpy(), tried["state"].to_numpy())
    fits = _weighed(tried[tried["state"] == MATCHED], network, steps, params)
    state[state == MATCHED] = TOUCH
    best = fits.drop_duplicates("step")
    other = _opposite(fits, best, overlay)
    best = best.assign(paired=best["step"].isin(other["step"]))
    chosen = pd.concat([best, other.assign(paired=True)[best.columns]], ignore_index=True)
    stretches, of_pair = _stretches(network, overlay, steps, chosen, params.uncovered_ft)
    size = (stretches["stop_ft"] - stretches["start_ft"]).to_numpy()
    share = size / network.axes.lengths[stretches["segment"]]
    enough = (size >= params.uncovered_ft) | (share >= params.least_share)
    held = best[enough[of_pair[: len(best)]]]
    segment, station = np.full(len(state), -1), np.zeros(len(state))
    at = held["step"].to_numpy()
    segment[at], station[at], state[at] = held["segment"], held["station_ft"], MATCHED
    found = replace(steps, segment=segment, station_ft=station, state=state)
    return found, stretches[enough].reset_index(drop=True)


def street_name(name: str) -> str:
    """A street name in one form, so that `Gull St` is `GULL STREET`."""
    short = _short_words()
    words = re.findall(r"[\w']+", name.casefold())
    return " ".join(short.get(word, word) for word in words)


@cache
def _short_words() -> dict[str, str]:
    words = re.findall(r"\w+", _WORDS)
    return dict(zip(words[::2], words[1::2], strict=True))


def _steps(lines: Polylines, row: Ints) -> Steps:
    """Equal steps of about `_STEP_FT`, so that a line drawn the other way has the same ones."""
    count = np.maximum(np.ceil(lines.lengths / _STEP_FT), 1).astype(np.int64)
    line = np.repeat(np.arange(len(lines)), count)
    size = (lines.lengths / count)[line]
    number_in = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
    nowhere = np.full(len(line), -1)
    at = (number_in + 0.5) * size
    return Steps(row[line], line, at, size, nowhere, np.zeros(len(line)), nowhere)


def _chords(lines: Polylines, line: Ints, at: Floats) -> Floats:
    """Unit directions over a little length to either side."""
    a = lines.locate(line, np.maximum(at - _CHORD_FT, 0.0))
    b = lines.locate(line, np.minimum(at + _CHORD_FT, lines.lengths[line]))
    run = b - a
    size = np.hypot(run[:, 0], run[:, 1])
    # a line that returns upon itself within the chord has only its edge there
    run = np.where(size[:, None] > 1e-6, run, lines.directions(line, at))
    return np.asarray(run / np.hypot(run[:, 0], run[:, 1])[:, None])


def _tried(
    network: Network, overlay: Overlay, steps: Steps, params: ConflationParams
) -> pd.DataFrame:
    """Every pair of a step and a segment within reach, and whether they fit."""
    axes = network.axes
    shapes = axes.lines()
    xy = overlay.lines.locate(steps.line, steps.at_ft)
    points = shapely.points(xy)
    step, segment = shapely.STRtree(shapes).query(
        points, predicate="dwithin", distance=params.reach_ft
    )
    station = shapely.line_locate_point(shapes[segment], points[step])
    gap = xy[step] - axes.locate(segment, station)
    ahead = _chords(axes, segment, station)
    own = _chords(overlay.lines, steps.line, steps.at_ft)[step]
    cosine = np.clip((own * ahead).sum(axis=1), -1.0, 1.0)
    angle = np.degrees(np.arccos(np.abs(cosine)))
    way = np.where(cosine >= 0, 1, -1)
    at_end = (station < 1e-6) | (station > axes.lengths[segment] - 1e-6)
    beyond = np.where(at_end, np.abs((gap * ahead).sum(axis=1)), 0.0)
    row = steps.row[step]
    names = _names(overlay.names)[row], _names([r.name for r in network.rows])[segment]
    sense = way * oneways(network)[segment]
    checks = [
        (BEYOND, beyond <= _BEYOND_FT),
        (ANGLE, angle <= params.max_angle_deg),
        (NAME, (names[0] == "") | (names[1] == "") | (names[0] == names[1])),
        (WAY, overlay.travel[row] * sense >= 0),
    ]
    state = np.select([~good for _, good in checks], [code for code, _ in checks], MATCHED)
    columns = {
        "step": step, "segment": segment, "station_ft": station, "state": state, "way": way,
        "sense": sense, "name": names[1],
        "offset_ft": gap[:, 0] * ahead[:, 1] - gap[:, 1] * ahead[:, 0],
        "gap_ft": np.hypot(gap[:, 0], gap[:, 1]), "angle_deg": angle, "beyond_ft": beyond,
    }  # fmt: skip
    return pd.DataFrame(columns)


def oneways(network: Network) -> Ints:
    """Per segment: traffic runs along it (+1), against it (-1), or both ways (0)."""
    sign = {"forward": 1, "backward": -1}
    return np.array([sign.get(row.oneway, 0) for row in network.rows], dtype=np.int64)


def _names(names: Sequence[str]) -> NDArray[np.object_]:
    return np.array([street_name(name) for name in names], dtype=object)


def _weighed(
    fits: pd.DataFrame, network: Network, steps: Steps, params: ConflationParams
) -> pd.DataFrame:
    """Pairs that fit, the best of every step first.

    A pair weighs what line and segment weigh together: single steps near a fork mislead.
    """
    fits = fits.assign(
        line=steps.line[fits["step"]], row=steps.row[fits["step"]],
        length_ft=steps.length_ft[fits["step"]],
    )  # fmt: skip
    pair = fits.groupby(["line", "segment"])
    covered = fits.groupby(["row", "segment"])["length_ft"].transform("sum").to_numpy()
    full = network.axes.lengths[fits["segment"]]
    share = np.minimum(covered / full, 1.0)
    weight = pair["gap_ft"].transform("mean") + _FT_PER_DEG * pair["angle_deg"].transform("mean")
    weight += _FT_UNCOVERED * (1.0 - share) + fits["beyond_ft"]
    enough = (covered >= params.uncovered_ft) | (share >= params.least_share)
    fits = fits.assign(weight=weight.round(3))[enough]
    return fits.sort_values(["step", "weight", "segment"], kind="stable")


def _opposite(fits: pd.DataFrame, best: pd.DataFrame, overlay: Overlay) -> pd.DataFrame:
    """For rows that speak for both roadways of a divided street: the best of the other roadway."""
    own = best.loc[best["sense"] != 0, ["step", "sense", "name"]]
    both = fits[overlay.paired[fits["row"]]].merge(own, on="step", suffixes=("", "_own"))
    same = (both["name"] == both["name_own"]) | (both["name"] == "") | (both["name_own"] == "")
    return both[same & (both["sense"] == -both["sense_own"])].drop_duplicates("step")


def _stretches(
    network: Network, overlay: Overlay, steps: Steps, chosen: pd.DataFrame, gap_ft: float
) -> tuple[pd.DataFrame, Ints]:
    """Steps on one segment as stretches between stations, and the stretch of every chosen pair."""
    step, segment = chosen["step"].to_numpy(), chosen["segment"].to_numpy()
    half = steps.length_ft[step] / 2
    shapes = network.axes.lines()[segment]
    ends = [
        shapely.line_locate_point(
            shapes, shapely.points(overlay.lines.locate(steps.line[step], steps.at_ft[step] + d))
        )
        for d in (-half, half)
    ]
    frame = chosen.assign(start_ft=np.minimum(*ends), stop_ft=np.maximum(*ends))
    frame = frame.assign(place=np.arange(len(frame)), way_ft=frame["way"] * frame["length_ft"])
    frame = frame.sort_values(["row", "segment", "start_ft", "place"], kind="stable")
    pair = frame.groupby(["row", "segment"], sort=False).ngroup().to_numpy()
    reach = pair * (float(network.axes.lengths.max(initial=0.0)) + 2 * gap_ft)
    so_far = np.maximum.accumulate(frame["stop_ft"].to_numpy() + reach)
    fresh = np.ones(len(frame), dtype=bool)
    fresh[1:] = frame["start_ft"].to_numpy()[1:] + reach[1:] > so_far[:-1] + gap_ft
    number_of = np.cumsum(fresh) - 1
    out = frame.groupby(number_of).agg(
        row=("row", "first"), segment=("segment", "first"), start_ft=("start_ft", "min"),
        stop_ft=("stop_ft", "max"), way=("way_ft", "sum"), offset_ft=("offset_ft", "mean"),
        gap_ft=("gap_ft", "mean"), paired=("paired", "mean"),
    )  # fmt: skip
    out["way"] = np.where(out["way"] >= 0, 1, -1)
    out["paired"] = out["paired"] > _MOST
    back = np.empty(len(frame), dtype=np.int64)
    back[frame["place"].to_numpy()] = number_of
    return out, back
