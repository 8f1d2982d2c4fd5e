"""Placeholder until the proposal engine is written."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Proposal:
    text: str
    rows: tuple[Any, ...]


def propose(sources: Sequence[Path], project_path: Path) -> Proposal:
    raise NotImplementedError
