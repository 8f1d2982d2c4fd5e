"""What the papers say, as a list of blocks: the PDF and the HTML are both made from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

#: a box to tick
TICK = "\u2610"


@dataclass(frozen=True)
class Title:
    """Head of a page: a new page begins before it, unless it is the first.

    With `joins`, it may stand below others where all of it fits on the page.
    """

    words: str
    beside: str = ""
    joins: bool = False


@dataclass(frozen=True)
class Heading:
    """Head of a part of a page."""

    words: str


@dataclass(frozen=True)
class Text:
    """A paragraph; `strong` for what must not be missed."""

    words: str
    strong: bool = False


@dataclass(frozen=True)
class Items:
    """A list of short sentences."""

    words: Sequence[str]


@dataclass(frozen=True)
class Grid:
    """A table: shares of the page width, rows of texts, and how many last rows are totals.

    `high` is the least height of a row in points, for blanks to write in.
    """

    shares: Sequence[float]
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    right: Sequence[int] = ()
    totals: int = 0
    high: float = 0.0


@dataclass(frozen=True)
class Picture:
    """A drawing with a caption."""

    drawing: Any
    caption: str = ""


@dataclass(frozen=True)
class Beside:
    """A table and a picture side by side; `share` of the width is the table's."""

    left: Grid
    right: Picture
    share: float


Block: TypeAlias = Title | Heading | Text | Items | Grid | Picture | Beside
