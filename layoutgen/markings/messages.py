"""Words on the pavement in one or more lines: sizes, gaps, and their order for the driver.

MUTCD 11th edition 3B.20 and 3B.21: at most three lines (WORD-02), the first word nearest the driver
(WORD-06), four to ten letter heights between lines (WORD-03, WORD-04), no wider than the lane
(WORD-07), up to a quarter smaller where traffic is slower than 25 mph (WORD-08).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from layoutgen.config import length, number
from layoutgen.markings.marking import Color, FigureShape, Frame, Marking, RuleParams
from layoutgen.markings.symbols import word
from layoutgen.street.design import Strip

#: gaps between lines grow with the speed between these (common practice)
_SLOW_MPH, _FAST_MPH = 30.0, 60.0
_REDUCED_BELOW_MPH = 25.0  # WORD-08


class MessageParams(RuleParams):
    """Settings of rules that paint words."""

    letter_height_ft: float = length(
        "8 ft", low="6 ft", high="16 ft", source="WORD-01", text="letters"
    )
    low_speed_reduction: float = number(
        0.0,
        low=0.0,
        high=25.0,
        unit="percent",
        source="WORD-08",
        text="letters are so much smaller where the speed is below 25 mph",
    )
    slow_line_gap: float = number(
        4.0,
        low=4.0,
        high=10.0,
        unit="letter heights",
        source="WORD-03",
        text="between lines at 30 mph and less",
    )
    fast_line_gap: float = number(
        8.0,
        low=4.0,
        high=10.0,
        unit="letter heights",
        source="WORD-04",
        text="between lines at 60 mph and more",
    )
    margin_ft: float = length(
        "1 ft",
        low="0 ft",
        high="4 ft",
        source="WORD-07",
        text="least distance of a word to the edges of its lane",
    )


@dataclass(frozen=True)
class Message:
    """Lines of words for the drivers of one lane, in reading order.

    `upstream_ft` is the frame station of the near edge of the first line; `facing` as in
    `FigureShape`.
    """

    frame: Frame
    lane: Strip
    facing: int
    upstream_ft: float
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Label:
    """What the markings of a message share."""

    anchor: str
    tag: str
    reason: str
    sources: tuple[str, ...]
    color: Color = "white"
    intersection_id: str = ""
    refused: str = ""


def letter_height(params: MessageParams, speed_mph: float, own_ft: float = 0.0) -> float:
    """Height of the letters: their own, or that of the rule, smaller where traffic is slow."""
    if own_ft:
        return own_ft
    slow = speed_mph < _REDUCED_BELOW_MPH
    return params.letter_height_ft * (1.0 - (params.low_speed_reduction / 100.0 if slow else 0.0))


def line_gap(params: MessageParams, speed_mph: float, height_ft: float) -> float:
    """Clear distance between two lines, by speed."""
    share = (speed_mph - _SLOW_MPH) / (_FAST_MPH - _SLOW_MPH)
    share = min(1.0, max(0.0, share))
    return height_ft * (params.slow_line_gap * (1.0 - share) + params.fast_line_gap * share)


def message_length(lines: Sequence[str], height_ft: float, gap_ft: float) -> float:
    """From the near edge of the first line to the far edge of the last."""
    return len(lines) * height_ft + (len(lines) - 1) * gap_ft


def fitted_width(text: str, height_ft: float, widest_ft: float) -> float:
    """Width to squeeze a word to, or 0 where it may keep its own."""
    try:
        own = word(text, height_ft=height_ft).width_ft
    except ValueError:
        return 0.0  # the engine tells what is wrong with it
    return 0.0 if own <= widest_ft else widest_ft


def message_markings(
    message: Message, label: Label, params: MessageParams, own_ft: float = 0.0
) -> Iterator[Marking]:
    """One marking per line, the first nearest the driver."""
    speed = message.frame.segment.speed_mph
    height = letter_height(params, speed, own_ft)
    step = height + line_gap(params, speed, height)
    widest = message.lane.width_ft - 2 * params.margin_ft
    for k, text in enumerate(message.lines):
        upstream = message.upstream_ft + message.facing * k * step
        width = fitted_width(text, height, widest)
        shape = FigureShape(
            "", upstream, message.lane.center_ft, message.facing, text, height, width
        )
        yield Marking(
            kind="word",
            frame=message.frame,
            shape=shape,
            color=label.color,
            travel=message.facing,
            anchor=label.anchor,
            station_ft=upstream,
            offset_ft=message.lane.center_ft,
            width_ft=width or _own_width(text, height),
            style=text,
            reason=label.reason,
            sources=label.sources,
            tag=label.tag,
            intersection_id=label.intersection_id,
            priority=60,
            group=f"{label.anchor}/{label.tag}" if len(message.lines) > 1 else "",
            refused=label.refused,
        )


def _own_width(text: str, height_ft: float) -> float:
    try:
        return word(text, height_ft=height_ft).width_ft
    except ValueError:
        return 1.0
