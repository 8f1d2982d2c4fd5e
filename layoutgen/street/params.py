"""Settings of the street stage as a whole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from layoutgen.config import Params, choice, length
from layoutgen.street.controls import ControlParams
from layoutgen.street.cross_section import ClassDefaults
from layoutgen.street.crossing_points import CrossingParams
from layoutgen.street.curb_side import StripParams
from layoutgen.street.curb_uses import CurbUseParams
from layoutgen.street.curbs import CurbParams
from layoutgen.street.design import Side
from layoutgen.street.districts import DistrictParams
from layoutgen.street.existing import ExistingParams
from layoutgen.street.features import FeatureParams
from layoutgen.street.intersection import IntersectionParams
from layoutgen.street.network import NetworkParams
from layoutgen.street.overlap import ConflationParams
from layoutgen.street.ramps import RampParams
from layoutgen.street.rings import RingParams


class SchoolParams(Params):
    """`[school_zone]`: how far a school reaches."""

    zone_ft: float = length(
        "500 ft",
        low="50 ft",
        high="2800 ft",
        source="SCHOOL-06",
        text="streets and intersections this near a school are in its zone",
    )


class PocketParams(Params):
    """`[turn_pocket]`: where a two-way left-turn lane serves one approach only."""

    length_ft: float = length(
        "150 ft",
        low="50 ft",
        high="600 ft",
        source="common practice",
        text="length before the stop line",
    )
    at: Literal["signal", "control", "never"] = choice(
        "signal", source="TWLTL-04", text="control of the approaches that get one"
    )


@dataclass(frozen=True)
class StreetParams:
    """All settings of the street stage."""

    defaults: Mapping[str, ClassDefaults]
    network: NetworkParams
    strips: StripParams
    controls: ControlParams
    intersection: IntersectionParams
    school: SchoolParams
    pocket: PocketParams
    curbs: CurbParams
    ramps: RampParams
    conflation: ConflationParams
    crossings: CrossingParams
    side: Side
    existing: ExistingParams
    rings: RingParams
    districts: DistrictParams
    features: FeatureParams
    curb_uses: CurbUseParams
