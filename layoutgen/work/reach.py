"""What the applicator of a truck reaches from one place: the settings of `[truck.reach]`."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from layoutgen.config import Params, choice, length

#: a size may exceed the reach by this much (ft): rounding, not paint
TINY_FT = 1e-6


class ReachParams(Params):
    """Size of what is painted without moving the truck, and where the applicator sits."""

    length_ft: float = length(
        "5 ft",
        low="1 ft",
        high="60 ft",
        source="common practice",
        text="along travel; a 20 ft box is painted in four pieces of 5 ft",
    )
    width_ft: float = length(
        "12 ft",
        low="1 ft",
        high="40 ft",
        source="common practice",
        text="across travel, a lane's width",
    )
    overlap_ft: float = length(
        "0 in",
        low="0 in",
        high="12 in",
        source="OP-082",
        text="how far a piece laps over the one painted before it, to close the seam",
    )
    sits: Literal["rear", "left", "right"] = choice(
        "rear",
        source="common practice",
        text="where the applicator sits on the truck; at the side it paints from the next lane",
    )
    truck_width_ft: float = length(
        "8.5 ft",
        low="4 ft",
        high="12 ft",
        source="common practice",
        text="a truck beside the lanes takes the next lane too where there is less room",
    )
    lane_slack_ft: float = length(
        "18 in",
        low="0 in",
        high="4 ft",
        source="common practice",
        text="how far beside a lane line a marking may be parted, so that no bar is split",
    )
    moving_width_ft: float = length(
        "12 in",
        low="4 in",
        high="36 in",
        source="common practice",
        text="wider lines are painted piece by piece, the others while the truck drives along",
    )
    pass_width_ft: float = length(
        "8 in",
        low="4 in",
        high="36 in",
        source="OP-085",
        text="widest line in one pass; wider ones take more",
    )

    @model_validator(mode="after")
    def _overlap_leaves_room(self) -> ReachParams:
        if self.overlap_ft * 2 > min(self.length_ft, self.width_ft):
            raise ValueError("overlap must be at most half of the reach's length and width")
        return self


class TruckModel(Params):
    """`[truck]`: what every truck is like."""

    reach: ReachParams = ReachParams()
