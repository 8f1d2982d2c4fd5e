"""One changed setting changes the markings it should, and no other: two layouts compared by id."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scenes import layout_from
from test_properties import DEMO, town

from layoutgen.settings import load_project


def changed_layout(folder: Path, text: str) -> gpd.GeoDataFrame:
    """The demo town's markings with a few settings changed."""
    path = folder / "changed.toml"
    path.write_text(f'extends = "{DEMO.resolve().as_posix()}"\n{text}', encoding="utf-8")
    markings, _, _ = layout_from(town().tables, load_project(path))
    return markings


def difference(new: gpd.GeoDataFrame) -> tuple[set[str], set[str], set[str]]:
    """Ids only in the old layout, only in the new, and in both with another shape or style."""
    old = town().markings.set_index("marking_id")
    fresh = new.set_index("marking_id")
    both = old.index.intersection(fresh.index)
    a, b = old.loc[both], fresh.loc[both]
    same = shapely.equals_exact(a.geometry.to_numpy(), b.geometry.to_numpy(), 1e-6, normalize=True)
    same &= (a["style"] == b["style"]).to_numpy() & (a["color"] == b["color"]).to_numpy()
    return set(old.index) - set(both), set(fresh.index) - set(both), set(both[~same])


def ids(table: gpd.GeoDataFrame, mask: object) -> set[str]:
    return set(table.loc[mask, "marking_id"])


def test_nothing_changes_where_nothing_is_changed(tmp_path: Path) -> None:
    assert difference(changed_layout(tmp_path, "")) == (set(), set(), set())


def test_bike_spacing_changes_symbols_and_their_arrows_only(tmp_path: Path) -> None:
    new = changed_layout(tmp_path, '[rules.bike_lane]\nspacing = "150 ft"\n')
    gone, came, other = difference(new)
    assert not gone
    assert len(came) > 50
    for kinds in (came, other):
        rows = new[new["marking_id"].isin(kinds)]
        assert set(rows["kind"]) == {"bike_lane"}
        assert set(rows["style"]) <= {"symbol", "arrow"}
    # the first symbol of every lane stands where it stood
    first = town().markings["reason"].str.contains("first symbol")
    anchors = set(zip(*first_places(town().markings[first]), strict=True))
    first = new["reason"].str.contains("first symbol")
    assert set(zip(*first_places(new[first]), strict=True)) == anchors


def first_places(rows: gpd.GeoDataFrame) -> tuple[list[str], list[float], list[float]]:
    return (
        rows["segment_id"].to_list(),
        rows["station_ft"].round(3).to_list(),
        rows["offset_ft"].round(3).to_list(),
    )


def test_stop_line_gap_moves_stop_lines_behind_crosswalks_and_what_stands_behind_them(
    tmp_path: Path,
) -> None:
    """Six feet more; whatever changes besides lies on the approaches of those stop lines."""
    new = changed_layout(tmp_path, '[rules.stop_line]\ncrosswalk_gap = "10 ft"\n')
    gone, came, other = difference(new)
    old = town().markings
    walked = set(old.loc[old["kind"] == "crosswalk", "anchor"])
    stops = (old["rule"] == "stop_line") & old["anchor"].isin(walked)
    moved = ids(old, stops)
    assert moved <= other | gone
    stay = (old["rule"] == "stop_line") & ~old["anchor"].isin(walked)
    assert not ids(old, stay) & (other | gone)
    assert not ids(old, old["kind"] == "crosswalk") & (other | gone)
    behind = set(old.loc[stops, "segment_id"])
    for table, names in ((old, gone | other), (new, came)):
        rows = table[table["marking_id"].isin(names)]
        assert set(rows["segment_id"]) <= behind
    step = [
        a.distance(b)
        for a, b in zip(
            old.set_index("marking_id").loc[sorted(moved - gone)].geometry.centroid,
            new.set_index("marking_id").loc[sorted(moved - gone)].geometry.centroid,
            strict=True,
        )
    ]
    # measured at right angles to the crosswalk; along a skewed leg it is more
    assert np.median(step) == pytest.approx(6.0, abs=0.01)
    assert min(step) > 5.99


def test_crosswalk_style_changes_those_crosswalks_only(tmp_path: Path) -> None:
    """The cases of the demo keep schools and all-way stops as they are."""
    new = changed_layout(tmp_path, '[rules.crosswalk]\nstyle = "bar_pairs"\n')
    gone, came, other = difference(new)
    assert (gone, came) == (set(), set())
    old = town().markings
    plain = (old["rule"] == "crosswalk") & (old["style"] == "longitudinal_bars")
    assert other == ids(old, plain)
    assert set(new.loc[new["marking_id"].isin(other), "style"]) == {"bar_pairs"}
