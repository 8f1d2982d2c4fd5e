"""Lines along the street measured on the paint against rows of the standard."""

from __future__ import annotations

LEFT = {"project": {"driving_side": "left"}}
