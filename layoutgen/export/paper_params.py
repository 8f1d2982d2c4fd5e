"""Settings of crew papers and of the work zone feed."""

from __future__ import annotations

from typing import Literal

from layoutgen.config import Params, choice, number


class PaperParams(Params):
    """`[papers]`: what crew papers and the work zone feed ask."""

    size: Literal["letter", "a4"] = choice("letter", source="design", text="paper of the crew")
    publisher: str = choice(
        "publisher not named", source="design", text="organization that answers for the feed"
    )
    utc_offset_hours: float = number(
        0.0, low=-12.0, high=14.0, source="design", unit="h", text="local clock ahead of UTC"
    )
