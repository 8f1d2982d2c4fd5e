"""Drawings of an agency's own figures: filled areas of an SVG, DXF or GeoJSON file.

What is filled is painted. Coordinates come back in units of the drawing with y pointing up, which
is the direction of travel of the driver who reads the figure. Outlines must be closed, may not
cross themselves or one another, and keep their holes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import scale as scale_about

#: most that a chord may leave its curve, as a share of the drawing's size
_SAG = 1e-4
#: ends that lie nearer than this share of the drawing's size are one point
_JOIN = 1e-5
_MOST_BYTES = 5_000_000
_MOST_VERTICES = 20_000
#: DXF entities that say nothing about the outline
_SILENT = {"POINT", "VIEWPORT"}
_TEXTS = {"TEXT", "MTEXT", "ATTRIB", "ATTDEF"}
_SVG_SHAPES = {"path", "rect", "circle", "ellipse", "polygon", "polyline", "line"}
_SVG_REFUSED = {"text", "image", "use", "foreignObject"}


class DrawingError(ValueError):
    """A drawing that cannot be painted: what is wrong, and the fix."""


def read_drawing(path: Path) -> shapely.MultiPolygon:
    """The painted area of a drawing, in its own units, y up.

    Raises:
        DrawingError: not readable, not one of the formats, open or crossing outlines, no area.
    """
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise DrawingError(f"'{path.suffix}' is no drawing; use {', '.join(_READERS)}")
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise DrawingError("the file is larger than 5 MB; simplify the drawing")
        area = reader(path)
    except OSError as fault:
        raise DrawingError(f"cannot be read ({fault.strerror or fault}); check the path") from None
    parts = [g for g in shapely.get_parts(shapely.get_parts(area)) if g.geom_type == "Polygon"]
    if not parts or not area.area > 0:
        raise DrawingError("holds no filled area; draw closed outlines")
    if shapely.get_num_coordinates(area) > _MOST_VERTICES:
        raise DrawingError(f"has more than {_MOST_VERTICES} vertices; simplify the drawing")
    return shapely.normalize(shapely.MultiPolygon(parts))


def _svg(path: Path) -> Any:
    from svgpathtools import Document  # here, because it takes a third of a second to load

    text = path.read_text(encoding="utf-8", errors="replace")
    if "<!ENTITY" in text:
        raise DrawingError("declares entities; save it as plain SVG")
    try:
        document = Document.from_svg_string(text)
        elements = document.paths()
    except Exception as fault:  # the library raises whatever the text leads it into
        raise DrawingError(f"is no SVG that can be read ({fault}); save it as plain SVG") from None
    _refuse_svg_tags(document.tree.getroot())
    painted = [_svg_area(p, p.element) for p in elements if len(p) and _is_filled(p.element)]
    area = shapely.union_all(painted) if painted else shapely.MultiPolygon()
    return scale_about(area, xfact=1.0, yfact=-1.0, origin=(0.0, 0.0))


def _refuse_svg_tags(root: Any) -> None:
    tags = {str(node.tag).rpartition("}")[2] for node in root.iter()}
    bad = sorted(tags & _SVG_REFUSED)
    if bad:
        raise DrawingError(f"uses <{bad[0]}>; convert it to paths")
    if not tags & _SVG_SHAPES:
        raise DrawingError("holds no paths; draw closed outlines")


def _style(element: Any) -> Mapping[str, str]:
    """Presentation attributes with those of `style`, which win."""
    pairs = (p.split(":", 1) for p in element.get("style", "").split(";") if ":" in p)
    return {**element.attrib, **{k.strip(): v.strip() for k, v in pairs}}


def _is_filled(element: Any) -> bool:
    style = _style(element)
    if style.get("display") == "none" or style.get("visibility") == "hidden":
        return False
    if style.get("fill") != "none":
        return True
    if style.get("stroke", "none") != "none":
        name = element.get("id") or str(element.tag).rpartition("}")[2]
        raise DrawingError(f"'{name}' is a stroke without fill; convert strokes to outlines")
    return False


def _svg_area(path: Any, element: Any) -> Any:
    """Area of one element; rings nest by its fill rule."""
    rings = []
    for piece in path.continuous_subpaths():
        xy = _svg_points(piece)
        if len(xy) < 3:
            continue
        size = float(np.ptp(xy, axis=0).max())
        if abs(complex(*(xy[0] - xy[-1]))) > _JOIN * size:
            name = element.get("id") or "a path"
            raise DrawingError(f"{name} is open between {_at(xy[-1])} and {_at(xy[0])}; close it")
        rings.append(_ring(xy))
    even = _style(element).get("fill-rule") == "evenodd"
    return _nested(rings, even_odd=even)


def _svg_points(piece: Any) -> NDArray[np.float64]:
    """Vertices of a run of segments, curves cut into chords."""
    xmin, xmax, ymin, ymax = piece.bbox()
    sag = _SAG * max(xmax - xmin, ymax - ymin, 1e-9)
    points = [piece[0].start]
    for segment in piece:
        points += _chords(segment, sag)
    return np.array([(p.real, p.imag) for p in points], dtype=float)


def _chords(segment: Any, sag: float) -> list[complex]:
    """Points of a segment after its start, doubled until no chord strays farther than `sag`."""
    if type(segment).__name__ == "Line":
        return [segment.end]
    count = 4
    while count < 512:
        points = [segment.point(t) for t in np.linspace(0.0, 1.0, 2 * count + 1)]
        chords = zip(points[1::2], pairwise(points[::2]), strict=True)
        if max(abs(middle - (a + b) / 2) for middle, (a, b) in chords) <= sag:
            break
        count *= 2
    return [complex(p) for p in points[2::2]]


def _dxf(path: Path) -> Any:
    from ezdxf import disassemble  # here, because it takes a fifth of a second to load
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        drawing = readfile(path)
    except (DXFError, OSError, UnicodeDecodeError) as fault:
        raise DrawingError(f"is no DXF that can be read ({fault}); save it as DXF 2010") from None
    entities = list(disassemble.recursive_decompose(drawing.modelspace()))
    lines = []
    texts = [e.dxftype() for e in entities if e.dxftype() in _TEXTS]
    if texts:
        raise DrawingError(
            f"holds a {texts[0]}, whose shape hangs on fonts; convert it to outlines"
        )
    for primitive in disassemble.to_primitives(entities):
        kind = primitive.entity.dxftype()
        if primitive.path is None or kind in _SILENT:
            if kind not in _SILENT:
                raise DrawingError(f"holds a {kind}; convert it to closed polylines or hatches")
            continue
        lines += list(primitive.path.sub_paths())
    if not lines:
        return shapely.MultiPolygon()
    ends = np.array([(v.x, v.y) for line in lines for v in line.control_vertices()])
    size = float(np.ptp(ends, axis=0).max())
    xy = [np.array([(v.x, v.y) for v in line.flattening(_SAG * size)]) for line in lines]
    return _nested(_rings(xy, size), even_odd=True)


def _rings(runs: Sequence[NDArray[np.float64]], size: float) -> list[shapely.Polygon]:
    """Rings of closed runs, and of open ones that meet end to end."""
    closed = [xy for xy in runs if len(xy) > 2 and np.hypot(*(xy[0] - xy[-1])) <= _JOIN * size]
    closed_ids = {id(xy) for xy in closed}
    rings = [_ring(xy) for xy in closed]
    rest = [shapely.LineString(xy) for xy in runs if id(xy) not in closed_ids and len(xy) > 1]
    if not rest:
        return _once(rings)
    snapped = shapely.set_precision(rest, _JOIN * size)
    merged = shapely.get_parts(shapely.line_merge(shapely.union_all(snapped)))
    for line in merged:
        if not shapely.is_closed(line):
            xy = shapely.get_coordinates(line)
            raise DrawingError(f"has an open outline from {_at(xy[0])} to {_at(xy[-1])}; close it")
        rings.append(_ring(shapely.get_coordinates(line)))
    return _once(rings)


def _once(rings: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """Rings without repeats: a hatch and the polyline around it are one outline."""
    out: list[shapely.Polygon] = []
    for ring in rings:
        twins = (ring.symmetric_difference(o).area <= 1e-3 * ring.area for o in out)
        if not any(twins):
            out.append(ring)
    return out


def _geojson(path: Path) -> Any:
    try:
        root = json.loads(path.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as fault:
        raise DrawingError(f"is no GeoJSON ({fault}); export it anew") from None
    polygons = [p for geometry in _geometries(root) for p in _polygons(geometry)]
    for polygon in polygons:
        if not polygon.is_valid:
            raise DrawingError(f"has a polygon with {_reason(polygon)}; redraw it")
    return shapely.union_all(polygons) if polygons else shapely.MultiPolygon()


def _geometries(node: Any) -> Iterable[Mapping[str, Any]]:
    if not isinstance(node, dict):
        raise DrawingError("is no GeoJSON object; export it anew")
    if node.get("type") == "FeatureCollection":
        return [g for f in node.get("features", []) for g in _geometries(f)]
    if node.get("type") == "Feature":
        return _geometries(node.get("geometry"))
    return [node]


def _polygons(geometry: Mapping[str, Any]) -> list[shapely.Polygon]:
    kind, rings = geometry.get("type"), geometry.get("coordinates")
    if kind not in ("Polygon", "MultiPolygon"):
        raise DrawingError(f"holds a {kind}; only Polygon and MultiPolygon are painted")
    try:
        faces: list[Any] = [rings] if kind == "Polygon" else list(rings or [])
        plain = [[np.array(r, dtype=float)[:, :2] for r in face] for face in faces]
        for ring in (r for face in plain for r in face):
            if not np.allclose(ring[0], ring[-1]):
                raise DrawingError(f"has an open ring at {_at(ring[-1])}; close it")
        return [shapely.Polygon(face[0], face[1:]) for face in plain]
    except (TypeError, IndexError, ValueError) as fault:
        if isinstance(fault, DrawingError):
            raise
        raise DrawingError("has coordinates that are no numbers; export it anew") from None


def _ring(xy: NDArray[np.float64]) -> shapely.Polygon:
    """A closed run of points as a polygon that does not cross itself; its winding is kept."""
    if not np.isfinite(xy).all():
        raise DrawingError("has coordinates that are no numbers; export it anew")
    polygon = shapely.Polygon(xy)
    if not polygon.is_valid:
        raise DrawingError(f"has an outline with {_reason(polygon)}; redraw it")
    return polygon


def _nested(rings: Sequence[shapely.Polygon], *, even_odd: bool) -> Any:
    """Area of rings that lie inside one another or apart.

    Even-odd: every second ring is a hole; else one whose winding brings the count to zero.
    """
    inside = [[k for k, o in enumerate(rings) if k != i and _within(r, o)]
              for i, r in enumerate(rings)]  # fmt: skip
    area: Any = shapely.MultiPolygon()
    for i in sorted(range(len(rings)), key=lambda k: len(inside[k])):
        own = 1 if shapely.is_ccw(rings[i].exterior) else -1
        around = [1 if shapely.is_ccw(rings[k].exterior) else -1 for k in inside[i]]
        filled = len(inside[i]) % 2 == 0 if even_odd else sum(around) + own != 0
        area = area.union(rings[i]) if filled else area.difference(rings[i])
    return area


def _within(ring: shapely.Polygon, other: shapely.Polygon) -> bool:
    """Whether a ring lies inside another; rings that cross are refused."""
    shared = ring.intersection(other).area
    least = 1e-9 * max(ring.area, other.area)
    if shared <= least:
        return False
    if abs(shared - min(ring.area, other.area)) > 1e-6 * min(ring.area, other.area):
        raise DrawingError(
            f"has outlines that cross near {_at(ring.intersection(other).centroid.coords[0])}; "
            "unite them"
        )
    return bool(ring.area < other.area)


def _reason(polygon: shapely.Polygon) -> str:
    """What makes a polygon invalid, with the place."""
    return re.sub(r"\[(.*)\]", r" at \1", shapely.is_valid_reason(polygon).lower())


def _at(xy: Any) -> str:
    return f"({xy[0]:.6g}, {xy[1]:.6g})"


_READERS: Mapping[str, Callable[[Path], Any]] = {".svg": _svg, ".dxf": _dxf, ".geojson": _geojson}
