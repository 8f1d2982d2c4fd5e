"""Crosswalk: where people cross a leg, in one of the styles of MUTCD 11th edition chapter 3C.

Bars are parallel to travel, also where the crossing is skewed, and stand on lane lines and in lane
centers, where wheels miss them (3C.05).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

from layoutgen.config import choice, length
from layoutgen.markings.approaches import table_at
from layoutgen.markings.checks.crosswalk import CHECKS
from layoutgen.markings.crosswalk_bars import (
    WALK_ROWS,
    WalkParams,
    WalkStyle,
    parted_strips,
    walk_shape,
)
from layoutgen.markings.marking import Frame, Marking, Rule
from layoutgen.street.design import Leg, Strip

Place = Literal[
    "signal", "all_way_stop", "stop", "yield", "school", "roundabout", "existing", "every_leg"
]


class Params(WalkParams):
    at: tuple[Place, ...] = choice(
        ("signal", "all_way_stop", "school", "roundabout", "existing"),
        source="XWALK-27",
        text="legs that get one: by control of the intersection (signal, all_way_stop), "
        "by control of the approach (stop, yield), in a school zone, at a roundabout, where one "
        "exists, or every leg",
    )
    width_ft: float = length(
        "10 ft", low="6 ft", high="30 ft", source="XWALK-03", text="along travel, over all"
    )
    setback_ft: float = length(
        "2 ft",
        low="0 ft",
        high="30 ft",
        source="common practice",
        text="from the crossing curb line to the crosswalk",
    )
    ring_setback_ft: float = length(
        "20 ft",
        low="20 ft",
        high="60 ft",
        source="ROUND-03",
        text="from the edge of a roundabout to the crosswalk",
    )
    school_style: Literal[WalkStyle, "same"] = choice(
        "same", source="SCHOOL-04", text="pattern in a school zone; same = as `style`"
    )
    school_color: Literal["white", "yellow"] = choice(
        "white",
        source="SCHOOL-05",
        text="color in a school zone; California has yellow beside school grounds",
    )


def wanted(params: Params, leg: Mapping[str, Any]) -> bool:
    """Whether a leg gets a crosswalk."""
    if leg["roundabout"] or "every_leg" in params.at:
        return not leg["roundabout"]
    by_control = leg["intersection_control"] in params.at and leg["intersection_control"] in (
        "signal",
        "all_way_stop",
    )
    if leg["existing"] and "existing" in params.at:
        return True
    if leg["circular"] and "roundabout" in params.at:
        return True
    by_approach = leg["control"] in params.at and leg["control"] in ("stop", "yield")
    return by_control or by_approach or (leg["school"] and "school" in params.at)


def needs(params: Params, leg: Mapping[str, Any]) -> dict[str, float]:
    if not wanted(params, leg):
        return {}
    return {"crosswalk_ft": params.width_ft, "crosswalk_setback_ft": _setback(params, leg)}


def _setback(params: Params, leg: Mapping[str, Any]) -> float:
    return params.ring_setback_ft if leg["circular"] else params.setback_ft


def mark(leg: Leg, params: Params) -> Iterator[Marking]:
    if leg.layout.crosswalk is None or (leg.twin and not leg.twin.leads):
        return
    near, far = leg.layout.crosswalk
    params = _at_school(params) if leg.school else params
    carriageways = _carriageways(leg)
    shape = walk_shape((near, far), carriageways, leg.base_ft, params)
    if shape is None:
        return
    left = min(strips[0].left_ft for strips in carriageways)
    right = max(strips[-1].right_ft for strips in carriageways)
    yield Marking(
        kind="crosswalk",
        frame=Frame.of_leg(leg),
        shape=shape,
        color=params.school_color if leg.school else "white",
        travel=-1 if leg.inbound else 1,
        anchor=leg.leg_id,
        station_ft=(near.station_ft + far.station_ft) / 2,
        offset_ft=(left + right) / 2,
        width_ft=params.width_ft,
        style=params.style,
        reason=_reason(leg, params),
        sources=WALK_ROWS[params.style],
        intersection_id=leg.intersection_id,
        priority=100,
    )


def _at_school(params: Params) -> Params:
    """Settings in a school zone."""
    if params.school_style == "same":
        return params
    return params.model_copy(update={"style": params.school_style})


def _carriageways(leg: Leg) -> list[Sequence[Strip]]:
    """Strips on either side of a median, and those of the other carriageway drawn on its own."""
    both = (leg.strips, *([leg.twin.strips] if leg.twin else []))
    return [part for strips in both for part in parted_strips(strips)]


def _reason(leg: Leg, params: Params) -> str:
    near, far = leg.layout.crosswalk or (leg.layout.curb, leg.layout.curb)
    middle = Frame.of_leg(leg).station((near.station_ft + far.station_ft) / 2)
    table = table_at(leg.segment, middle) if leg.segment.speed_humps else None
    return _why(leg, params) + (f"; raised, on speed table {table.hump_id}" if table else "")


def _why(leg: Leg, params: Params) -> str:
    if leg.existing:
        return "a crosswalk exists here (input crosswalks); on its axis"
    if "every_leg" in params.at:
        why = "every leg is asked for"
    elif leg.circular and "roundabout" in params.at:
        why = "it leads into a roundabout"
    elif leg.intersection_control in params.at:
        why = f"the intersection is controlled by {leg.intersection_control}"
    elif leg.control in params.at:
        why = f"the approach is controlled by {leg.control}"
    else:
        why = "the intersection lies in a school zone"
    if leg.circular:
        return f"{why}; {params.ring_setback_ft:g} ft from the edge of the roundabout"
    return f"{why}; {params.setback_ft:g} ft behind the crossing curb line"


RULE = Rule(on="leg", params=Params, mark=mark, needs=needs, checks=CHECKS)
