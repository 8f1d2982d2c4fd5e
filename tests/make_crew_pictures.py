"""Two pages of the crew papers as pictures, from the demo town.

    python tests/make_crew_pictures.py FOLDER [ROUTED.gpkg]

Writes `crew_cover.png` and `crew_card.png` into FOLDER; tests/pictures holds them. Without a routed
package, one of the demo is made, which takes some minutes. Needs pypdfium2.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

import pypdfium2
from make_docs import demo_into
from PIL import Image

from layoutgen import pipeline
from layoutgen.export.crew import shift_blocks
from layoutgen.export.crew.model import Shift, read_shifts
from layoutgen.export.crew.pages import pdf

WIDE_PX, MOST_BYTES = 1000, 150_000


def main(out: Path, package: Path | None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        shift, title = _choose(read_shifts(package or _demo(Path(folder))))
    name = f"Crew papers {shift.tour['tour_id']}"
    document = pypdfium2.PdfDocument(pdf(list(shift_blocks(shift)), "letter", name))
    _save(document[0], out / "crew_cover.png")
    texts = [page.get_textpage().get_text_bounded() for page in document]
    _save(document[next(k for k, t in enumerate(texts) if title in t)], out / "crew_card.png")


def _choose(shifts: list[Shift]) -> tuple[Shift, str]:
    """The bike box with the most sections, and the title of its card."""
    found = [
        (len(card.sections), card.visit["sequence"], k)
        for k, shift in enumerate(shifts)
        for card in shift.cards.values()
        if "bike_box" in str(card.job["kinds"])
    ]
    _, stop, k = max(found)
    return shifts[k], f"Stop {stop}: "


def _demo(folder: Path) -> Path:
    project = demo_into(folder)
    pipeline.route(project, pipeline.generate(project, lambda _: None), lambda _: None)
    return project.output


def _save(page: Any, path: Path) -> None:
    image = page.render(scale=2.0 * WIDE_PX / page.get_width()).to_pil().convert("L")
    size = WIDE_PX, round(WIDE_PX * page.get_height() / page.get_width())
    small = image.resize(size, Image.Resampling.LANCZOS)
    small.quantize(16).save(path, optimize=True)
    if path.stat().st_size > MOST_BYTES:
        raise SystemExit(f"{path}: larger than {MOST_BYTES} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else None)
