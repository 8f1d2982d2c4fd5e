"""Lines along the street measured on the paint, and their checks on good and bad paint."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import geopandas as gpd
import pytest
from scenes import SCENES, layout_of

from layoutgen.markings.audit import AuditParams, audit
from layoutgen.markings.catalog import rule_catalog
from layoutgen.markings.conformity import Check, Paint
from layoutgen.markings.paints import paints_of
from layoutgen.street.design import Design

INCH = 1 / 12
OWN = ("center_line", "lane_line", "edge_line", "dotted_extension", "channelizing", "flush_median",
       "lane_reduction", "turn_lane_arrows", "ring_edge")  # fmt: skip
#: every option of these families
ON: Mapping[str, Any] = {
    "dotted_extension": {
        "at": ["turn_lanes", "offset", "bend", "center_line", "edge_line", "far_side"]
    },
    "flush_median": {"at": ["turn_lane_end"]},
    "turn_lane_arrows": {"median": "100 ft"},
    "ring_edge": {"at": ["inner", "outer"]},
    "center_line": {
        "no_passing": "curves",
        "by_volume": "recommended",
        "approach": "120 ft",
        "median": "100 ft",
    },
}
PLACES = ("rural", "offset_lanes", "lane_ends", "winding", "shared_lane", "fork", "circle",
          "lane_into_nothing", "cross", "five_lane", "one_way", "tee", "curve")  # fmt: skip


@cache
def place(scene: str, left: bool = False) -> tuple[gpd.GeoDataFrame, Design]:
    settings: dict[str, Any] = {"rules": ON}
    if left:
        settings["project"] = {"driving_side": "left"}
    markings, design, _ = layout_of(SCENES[scene](**settings))
    return markings, design


def paints(scene: str, left: bool = False) -> tuple[list[Paint], Design]:
    markings, design = place(scene, left)
    table = markings[["marking_id", "kind", "style", "color", "bearing_deg", "geometry"]]
    own, _ = paints_of(table.assign(width_ft=None), design, 60.0)
    return own, design


def checks(*rows: str) -> list[Check]:
    found = {id(c): c for rule in OWN for c in rule_catalog()[rule].checks}
    return [c for c in found.values() if not rows or c.row in rows]


def breaches(own: list[Paint], design: Design, *rows: str) -> list[str]:
    """Ids of the rows that are broken, whatever their jurisdiction."""
    params = AuditParams(jurisdictions=("federal", "california", "missouri"))
    found = audit(own, design, params, checks(*rows))
    return sorted({f.code for f in found.findings if f.code in {c.row for c in checks()}})


def of(own: list[Paint], kind: str, style: str = "") -> list[Paint]:
    return [p for p in own if p.kind == kind and style in ("", p.style)]


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", PLACES)
def test_good_paint_breaks_no_federal_row(scene: str, left: bool) -> None:
    own, design = paints(scene, left)
    found = audit(own, design, AuditParams(), checks())
    rows = {c.row for c in checks()}
    assert [(f.code, f.feature_id, f.text) for f in found.findings if f.code in rows] == []
    assert sum(r.checked for r in found.rows) > 5


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("scene", PLACES)
def test_paint_stays_on_the_pavement_and_apart(scene: str, left: bool) -> None:
    own, design = paints(scene, left)
    found = audit(own, design, AuditParams(), checks())
    faults = [f for f in found.findings if f.code not in {c.row for c in checks()}]
    faults = [f for f in faults if "no rule" not in f.text and f.code != "layout_kind_unknown"]
    assert [(f.code, f.feature_id, f.text) for f in faults] == []
