"""Rules -> markings -> polygons: ask every rule at every site, then draw all answers in bulk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layoutgen.config import Where
from layoutgen.errors import Finding
from layoutgen.geometry.polyline import Polylines
from layoutgen.markings.crossing_gaps import lines_off_crosswalks
from layoutgen.markings.exclusions import Exclusions, keep_out
from layoutgen.markings.islands import off_islands
from layoutgen.markings.marking import (
    FigureShape,
    Marking,
    Rule,
    RuleParams,
)
from layoutgen.markings.rail_zone import off_rails, rail_zones, zone_areas
from layoutgen.markings.settle import settle
from layoutgen.markings.table import markings_table
from layoutgen.markings.templates import bars, figure, ground, line, link, patches, teeth
from layoutgen.street.design import Block, Design, Intersection, Leg
from layoutgen.street.intersection import LegNeeds, LegPolicy
from layoutgen.street.legs import intersection_attributes, leg_attributes
from layoutgen.street.segments import segment_attributes

#: straight edges of an area may cut a corner by this much (ft)
_MARGIN_FT = 0.4
Site = Leg | Block | Intersection

_TEMPLATES: Mapping[type, Any] = {
    shape.SHAPE: shape for shape in (line, bars, teeth, patches, link, ground, figure)
}


@dataclass(frozen=True)
class RuleSetting:
    """A rule with its settings: the base, and cases of which the first that matches wins."""

    name: str
    rule: Rule
    base: RuleParams
    cases: tuple[tuple[Where, RuleParams], ...] = ()

    def params(self, attributes: Mapping[str, Any]) -> RuleParams:
        for where, params in self.cases:
            if where.matches(attributes):
                return params
        return self.base


def leg_policy(settings: Sequence[RuleSetting]) -> LegPolicy:
    """What all rules together want on a leg; street geometry asks this, so rules need not meet."""

    def policy(attributes: Mapping[str, Any]) -> LegNeeds:
        wishes: dict[str, float] = {}
        for setting, needs in asking:
            params = setting.params(attributes)
            if params.enabled:
                wishes.update(needs(params, attributes))
        return LegNeeds(**wishes)

    asking = [(s, s.rule.needs) for s in settings if s.rule.needs is not None]
    return policy


def ask_rules(design: Design, settings: Sequence[RuleSetting]) -> list[tuple[str, Marking]]:
    """(rule, marking) for every rule and site inside the districts, in a fixed order."""
    legs = [leg for leg in design.legs() if leg.segment.paved and not leg.outside]
    served: Mapping[str, Sequence[Site]] = {
        "leg": legs,
        "approach": [leg for leg in legs if leg.inbound and not leg.segment.roundabout],
        "block": [b for b in design.blocks if _lined(b)],
        "intersection": [c for c in design.intersections if not c.outside],
    }
    out = []
    for setting in settings:
        sites: Sequence[Any] = served[setting.rule.on]
        for site, params in zip(sites, _in_force(setting, sites), strict=True):
            if params.enabled:
                made = setting.rule.mark(site, params)
                out += [(setting.name, _labelled(params.drawn(m), site)) for m in made]
    return out


def _in_force(setting: RuleSetting, sites: Sequence[Any]) -> Iterable[RuleParams]:
    """Settings at every site; where no `where` asks for attributes, none are gathered."""
    if not setting.cases:
        return [setting.base] * len(sites)
    if setting.rule.on == "block":
        return (setting.params(segment_attributes(block.segment)) for block in sites)
    if setting.rule.on == "intersection":
        return (setting.params(intersection_attributes(crossing)) for crossing in sites)
    return (setting.params(leg_attributes(leg)) for leg in sites)


def _lined(block: Block) -> bool:
    """Whether a block takes markings: what runs inside an intersection does not, but for rings."""
    open_ = block.segment.paved and not block.segment.outside
    return open_ and (not block.inside or block.segment.roundabout)


def _labelled(marking: Marking, site: Site) -> Marking:
    district = site.segment.district if isinstance(site, Block) else site.district
    return replace(marking, district=district) if district else marking


def draw_markings(
    asked: Sequence[tuple[str, Marking]],
    axes: Polylines,
    material: str,
    exclusions: Exclusions | None = None,
) -> tuple[gpd.GeoDataFrame, list[Finding]]:
    """Markings table on the working plane, sorted by id, without collisions.

    What lies in an exclusion or on an island goes first, so that nothing gives way to what is not
    painted.

    Returns:
        Columns of layer `markings` and, for the work stages, segment_index, from_ft, to_ft, travel
        and is_line; and a finding for every marking that could not be kept.
    """
    asked, unfit = _fitting(asked)
    zones = rail_zones(asked)
    asked, on_rails = off_rails(asked, zones)
    shapes = _draw([m for _, m in asked], axes)
    asked, shapes, off = _on_pavement(asked, shapes)
    empty = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    kept = [pair for pair, gone in zip(asked, empty, strict=True) if not gone]
    table = markings_table(kept, shapes[~empty], axes, material)
    table, kept_out = keep_out(table, exclusions or Exclusions(), axes)
    table, cut = off_islands(table, exclusions or Exclusions(), axes)
    own = [m for _, m in kept]
    areas = exclusions or Exclusions()
    shut = [a.shape for a in (*areas.areas, *areas.islands)]
    barred = shapely.union_all([*shut, zone_areas(zones, axes)])
    table = lines_off_crosswalks(table)
    table, moved, findings = settle(table, own, lambda ms: _draw(ms, axes), barred)
    table = _with_moved(table, moved, axes, material)
    lost = [m for (_, m), gone in zip(asked, empty, strict=True) if gone]
    return table, unfit + on_rails + off + [
        _nothing_left(m) for m in lost
    ] + kept_out + cut + findings


def _fitting(
    asked: Sequence[tuple[str, Marking]],
) -> tuple[list[tuple[str, Marking]], list[Finding]]:
    """Markings without the figures that cannot be drawn at the size their lane leaves."""
    kept: list[tuple[str, Marking]] = []
    findings: list[Finding] = []
    for name, marking in asked:
        try:
            if marking.refused:
                raise ValueError(marking.refused)
            if isinstance(marking.shape, FigureShape):
                figure.figure_of(marking.shape)
        except ValueError as fault:
            text = f"no {marking.style} here: {fault}"
            fix = "check the lane width, or set smaller letters"
            fix = "correct its row, or move it" if marking.refused else fix
            where = f"{marking.kind}/{marking.anchor}"
            findings.append(Finding("figure_does_not_fit", "warning", "markings", where, text, fix))
        else:
            kept.append((name, marking))
    return kept, findings


def _on_pavement(
    asked: Sequence[tuple[str, Marking]], shapes: NDArray[np.object_]
) -> tuple[list[tuple[str, Marking]], NDArray[np.object_], list[Finding]]:
    """Markings without those that leave the pavement they must stay on, and their groups."""
    keep = np.ones(len(asked), dtype=bool)
    findings = []
    gone: set[tuple[str, str]] = set()
    for k, (_, marking) in enumerate(asked):
        if marking.within is None or shapes[k] is None:
            continue
        if not shapely.covers(shapely.buffer(marking.within, _MARGIN_FT), shapes[k]):
            keep[k] = False
            if marking.group:
                gone.add((marking.anchor, marking.group))
            where = f"{marking.kind}/{marking.anchor}"
            text = f"a {marking.kind} would leave the pavement; it was left out"
            fix = "look at the corner there, or mark it by hand"
            found = Finding("off_pavement", "notice", "markings", where, text, fix, shapes[k])
            findings.append(found)
    if gone:
        keep &= [(m.anchor, m.group) not in gone for _, m in asked]
    kept = [pair for pair, stays in zip(asked, keep.tolist(), strict=True) if stays]
    return kept, shapes[keep], findings


def _draw(markings: Sequence[Marking], axes: Polylines) -> NDArray[np.object_]:
    """Polygons of all markings, template by template."""
    out: NDArray[Any] = np.full(len(markings), None, dtype=object)
    by_shape: dict[type, list[int]] = defaultdict(list)
    for i, marking in enumerate(markings):
        by_shape[type(marking.shape)].append(i)
    for kind, rows in by_shape.items():
        frames = [markings[i].frame for i in rows]
        out[rows] = _TEMPLATES[kind].draw(frames, [markings[i].shape for i in rows], axes)
    return out


def _with_moved(
    table: gpd.GeoDataFrame, moved: Mapping[int, Marking], axes: Polylines, material: str
) -> gpd.GeoDataFrame:
    """Table in which moved figures have the place and direction they were moved to."""
    if not moved:
        return table
    rows = list(moved)
    shapes = table.geometry.to_numpy()[rows]
    pairs = [(table["rule"].iloc[k], moved[k]) for k in rows]
    new = markings_table(pairs, shapes, axes, material).sort_values("asked")
    out = table.copy()
    for name in ("station_ft", "offset_ft", "from_ft", "to_ft", "bearing_deg"):
        out.loc[rows, name] = new[name].to_numpy()
    return out


def _nothing_left(marking: Marking) -> Finding:
    text = f"nothing was left of a {marking.kind} after fitting it to the street"
    return Finding("marking_empty", "warning", "markings", marking.anchor, text, "mark it by hand")
