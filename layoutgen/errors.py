"""Faults: exceptions that stop a run, and findings that do not.

Bad settings raise before any work starts. Bad data becomes a `Finding` and the run goes on, so that
one broken line never hides ten thousand good ones.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

Severity = Literal["error", "warning", "notice"]


class LayoutgenError(Exception):
    """Base of every fault whose message is meant for the user; the command exits with 1."""


class ConfigError(LayoutgenError):
    """A setting is wrong: the message names file, line, key, what was expected and the fix."""


class InputError(LayoutgenError):
    """A file cannot be used at all: missing, unreadable, without CRS, without a needed column."""


class OutputError(LayoutgenError):
    """A result cannot be written; whatever was there before is untouched."""


@dataclass(frozen=True)
class Finding:
    """One problem or repair in the data, as written to layer `findings`.

    Attributes:
        code: stable short name, e.g. `null_geometry`.
        severity: `error` = row not used, `warning` = used but doubtful, `notice` = repaired.
        source: role, layer or stage it comes from.
        feature_id: id of the row in its source, or the segment or intersection id.
        text: what is wrong.
        fix: what the user can do about it.
        geometry: place on the working plane (ft), or None.
        rows: how many input rows are *not used* because of it (0 for repairs).
    """

    code: str
    severity: Severity
    source: str
    feature_id: str
    text: str
    fix: str
    geometry: Any = None
    rows: int = 0


@dataclass
class FindingLog:
    """Findings in the order of their discovery."""

    items: list[Finding] = field(default_factory=list)

    def add(self, finding: Finding) -> None:
        self.items.append(finding)

    def extend(self, findings: Iterable[Finding]) -> None:
        self.items.extend(findings)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.items)

    def __len__(self) -> int:
        return len(self.items)

    def counts(self) -> Counter[tuple[str, str]]:
        """Number of findings by (severity, code)."""
        return Counter((f.severity, f.code) for f in self.items)
