"""Crew papers: one PDF and one HTML page per tour, from a routed package alone.

Cover, load sheet, weather gate, a card for every visit, and the daily log to bring back.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal

from layoutgen.errors import ConfigError, OutputError
from layoutgen.export.crew.blocks import Block
from layoutgen.export.crew.card import visit_pages
from layoutgen.export.crew.html import page
from layoutgen.export.crew.model import Shift, read_shifts
from layoutgen.export.crew.pages import SIZES, pdf, room_pt
from layoutgen.export.crew.shift_pages import cover, daily_log, load_sheet, weather_gate
from layoutgen.gis.write import staged

Paper = Literal["letter", "a4"]


def write(package: Path, folder: Path, paper: Paper = "letter") -> list[Path]:
    """Write `crew_<tour>.pdf` and `crew_<tour>.html` for every tour.

    Papers of tours that are no more are removed, so that nobody drives by an old one.

    Args:
        package: as `layoutgen route` leaves it.
        folder: made if missing.
        paper: letter (8.5 by 11 in) or A4.

    Raises:
        ConfigError: no such paper.
        InputError: no such package, or a layer is missing.
        OutputError: the folder cannot be written.
    """
    if paper not in SIZES:
        raise ConfigError(f"'{paper}': no such paper. Choose {' or '.join(SIZES)}.")
    shifts = read_shifts(package)
    _make(folder)
    written: list[Path] = []
    with staged(folder) as hidden:
        for shift, name in zip(shifts, file_names(shifts), strict=True):
            blocks = list(shift_blocks(shift, paper))
            title = f"Crew papers {shift.tour['tour_id']}"
            (hidden / f"{name}.pdf").write_bytes(pdf(blocks, paper, title))
            with (hidden / f"{name}.html").open("w", encoding="utf-8", newline="") as file:
                file.writelines(page(blocks, paper, title))
            written += [folder / f"{name}.pdf", folder / f"{name}.html"]
    for old in {*folder.glob("crew_*.pdf"), *folder.glob("crew_*.html")} - set(written):
        if _is_ours(old):
            old.unlink()
    return written


def _is_ours(path: Path) -> bool:
    """Whether this program made a file: both kinds name it as their author."""
    return b"layoutgen crew papers" in path.read_bytes()


def shift_blocks(shift: Shift, paper: Paper = "letter") -> Iterator[Block]:
    """All blocks of a shift in the order of its pages."""
    room = room_pt(paper)
    yield from cover(shift, room[0])
    yield from load_sheet(shift)
    yield from weather_gate(shift)
    for visit in shift.visits:
        yield from visit_pages(visit, shift, room)
    yield from daily_log(shift)


def file_names(shifts: Sequence[Shift]) -> list[str]:
    """Names without suffix, safe in every file system; equal ones are numbered."""
    safe = [re.sub(r"[^A-Za-z0-9_-]+", "_", str(shift.tour["tour_id"])) for shift in shifts]
    lower = [name.lower() for name in safe]
    twins = [lower[:k].count(name) for k, name in enumerate(lower)]
    return [f"crew_{name}{f'~{n + 1}' if n else ''}" for name, n in zip(safe, twins, strict=True)]


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{folder}: cannot be made ({fault.strerror or fault}).") from fault
