"""Polygons from outlines written as text: filled shapes and stroked skeletons.

A path is a line of commands, each a letter and its coordinates, x before y, y pointing up:

    M x y                 start a piece
    L x y                 straight to (x, y)
    E cx cy x y           a quarter of an ellipse to (x, y) that bends at the corner (cx, cy)
    C ax ay bx by x y     cubic Bezier curve to (x, y)
    Z                     close the piece

Coordinates may repeat after L, E and C. Every command keeps its meaning under any stretch, so a
path drawn on a unit grid can be stretched first and stroked afterwards: the stroke then has the
same width everywhere. All results are in feet and the same input gives the same vertices.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import scale as scale_about

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
Ends = Literal["flat", "round"]

SAG_FT = 0.002
"""Most that a chord may leave its curve. A stroke's outer edge has up to twice that."""

GRID_FT = 1e-7
"""Vertices are rounded to this grid: no sliver survives, sizes stay exact to 1e-6 ft."""

MITRE_LIMIT = 1.5
"""Half stroke widths from a corner to the flat cut of its point. A right angle needs 1.414."""

REACH_STROKES = 4.0
"""How far an end runs past an edge before the cut: enough down to 15 degrees off the edge."""

ROUND_SEGMENTS = 8
EDGE_FT = 1e-9

_ARGUMENTS = {"M": 2, "L": 2, "E": 4, "C": 6, "Z": 0}
_COMMAND = re.compile(r"([A-Za-z])([^A-Za-z]*)")


@dataclass(frozen=True)
class Trace:
    """One piece of a path as vertices, shape (n, 2) in feet; `closed` pieces do not repeat
    the first vertex."""

    xy: Floats
    closed: bool


def trace(
    path: str,
    *,
    scale: tuple[float, float] = (1.0, 1.0),
    shift_ft: tuple[float, float] = (0.0, 0.0),
    sag_ft: float = SAG_FT,
) -> tuple[Trace, ...]:
    """Vertices of each piece of a path, after `x * scale + shift_ft` in each direction.

    Curves get as many chords as keep them within `sag_ft`. Raises ValueError for a path that
    does not follow the grammar in the head of this file.
    """
    stretch, move = np.asarray(scale, dtype=float), np.asarray(shift_ft, dtype=float)
    return tuple(
        _sample_piece([leg * stretch + move for leg in legs], closed=closed, sag_ft=sag_ft)
        for legs, closed in _pieces(path)
    )


def run_on(piece: Trace, box: Box, *, stroke_ft: float) -> Trace:
    """Lengthen the ends of an open piece that head out of the box its stroke is to fill.

    Such an end stands half a stroke inside an edge of `box`; after `cut_to` it is flush with
    the edge, whatever its slope. A slanted end near a corner of the box is also turned, so that
    its outer side meets the corner. Other ends stay as they are.
    """
    if piece.closed:
        return piece
    first = _end(piece.xy[1], piece.xy[0], box, stroke_ft)
    last = _end(piece.xy[-2], piece.xy[-1], box, stroke_ft)
    return Trace(np.vstack([first[::-1], piece.xy[1:-1], last]), closed=False)


def fill(pieces: Sequence[Trace]) -> shapely.MultiPolygon:
    """Union of closed pieces, each filled. Raises ValueError for an open piece or one that
    crosses itself."""
    polygons = [shapely.Polygon(piece.xy) for piece in pieces]
    if not all(piece.closed for piece in pieces):
        raise ValueError("a filled outline must be closed: end its path with Z")
    if not all(shapely.is_valid(polygons)):
        raise ValueError("a filled outline crosses itself")
    return as_multipolygon(shapely.union_all(polygons))


def stroke(
    pieces: Sequence[Trace], width_ft: float, *, ends: Ends = "flat"
) -> shapely.MultiPolygon:
    """Union of the pieces painted with a stroke of constant `width_ft`.

    `flat` ends stop square across at the last vertex, and corners are mitred, very sharp ones
    cut flat; `round` ends and corners are for limbs and tubes.
    """
    if not width_ft > 0:
        raise ValueError(f"a stroke must be wider than 0 ft, got {width_ft}")
    lines = [_line(piece) for piece in pieces]
    painted = shapely.buffer(
        lines,
        width_ft / 2,
        quad_segs=ROUND_SEGMENTS,
        cap_style=ends,
        join_style="round" if ends == "round" else "mitre",
        mitre_limit=MITRE_LIMIT,
    )
    return as_multipolygon(shapely.union_all(painted))


def cut_to(shape: shapely.MultiPolygon, box: Box) -> shapely.MultiPolygon:
    """The part of a shape inside a box (xmin, ymin, xmax, ymax)."""
    return as_multipolygon(shapely.intersection(shape, shapely.box(*box)))


def mirror(shape: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Mirror image across x = 0, the same vertices with x negated."""
    return as_multipolygon(scale_about(shape, xfact=-1.0, yfact=1.0, origin=(0.0, 0.0)))


def tidy(shape: shapely.MultiPolygon) -> shapely.MultiPolygon:
    """Vertices on a fine grid, slivers gone, rings and parts in a fixed order."""
    return as_multipolygon(shapely.set_precision(shape, GRID_FT))


def as_multipolygon(shape: shapely.Geometry) -> shapely.MultiPolygon:
    """The polygons of any geometry as one multipolygon in a fixed order; drops lines, points."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    faces = parts[shapely.area(parts) > 0.0]
    return shapely.normalize(shapely.MultiPolygon(list(faces)))


def _pieces(path: str) -> list[tuple[list[Floats], bool]]:
    """Pieces of a path: control points of each leg, shape (2..4, 2), and whether it closes."""
    pieces: list[tuple[list[Floats], bool]] = []
    here = np.zeros(2)
    for letter, points in _commands(path):
        if letter == "M":
            here = points[0]
            pieces.append(([], False))
        elif letter == "Z":
            legs, _ = pieces.pop()
            pieces.append((legs, True))
        else:
            legs = np.split(points, len(points) * 2 // _ARGUMENTS[letter])
            for leg in legs:
                pieces[-1][0].append(np.vstack([here, leg]))
                here = leg[-1]
    if not pieces or not all(legs for legs, _ in pieces):
        raise ValueError(f"path '{path}': a piece has a start but no line")
    return pieces


def _commands(path: str) -> list[tuple[str, Floats]]:
    """Command letters with their points, shape (n, 2), checked against the grammar."""
    if not path.lstrip().startswith("M"):
        raise ValueError(f"path '{path}': must start with M x y")
    commands = [(letter, rest.split()) for letter, rest in _COMMAND.findall(path)]
    for letter, numbers in commands:
        _check_command(path, letter, len(numbers))
    return [
        (letter, np.array([float(number) for number in numbers]).reshape(-1, 2))
        for letter, numbers in commands
    ]


def _check_command(path: str, letter: str, count: int) -> None:
    """Raise ValueError where a command is unknown or has the wrong number of coordinates."""
    if letter not in _ARGUMENTS:
        raise ValueError(f"path '{path}': no command '{letter}', use one of M L E C Z")
    wanted = _ARGUMENTS[letter]
    repeats = letter in "LEC" and count > 0
    if count != wanted and not (repeats and count % wanted == 0):
        raise ValueError(f"path '{path}': {letter} takes {wanted} numbers, got {count}")


def _sample_piece(legs: list[Floats], *, closed: bool, sag_ft: float) -> Trace:
    """Vertices of one piece, without repeats."""
    xy = np.vstack([legs[0][:1], *(_sample(leg, sag_ft) for leg in legs)])
    moved = np.hypot(*np.diff(xy, axis=0).T) > EDGE_FT
    xy = xy[np.concatenate([[True], moved])]
    if closed and np.hypot(*(xy[-1] - xy[0])) <= EDGE_FT:
        xy = xy[:-1]
    return Trace(xy, closed=closed)


def _sample(leg: Floats, sag_ft: float) -> Floats:
    """Vertices of one leg after its start: two control points are a straight line."""
    if len(leg) == 2:
        return leg[1:]
    return _sample_quarter(leg, sag_ft) if len(leg) == 3 else _sample_cubic(leg, sag_ft)


def _sample_quarter(leg: Floats, sag_ft: float) -> Floats:
    """Quarter of an ellipse; the farthest a chord strays is radius x (1 - cos(half step))."""
    start, corner, end = leg
    center = start + end - corner
    arms = np.vstack([start - center, end - center])
    radius = float(np.hypot(*arms.T).max())
    step = 2 * np.arccos(1 - min(sag_ft / radius, 0.5))
    angle = np.linspace(0, np.pi / 2, int(np.ceil(np.pi / 2 / step)) + 1)[1:-1]
    curve = center + np.column_stack([np.cos(angle), np.sin(angle)]) @ arms
    return np.vstack([curve, end])


def _sample_cubic(leg: Floats, sag_ft: float) -> Floats:
    """Cubic curve; chords stray at most |second derivative| / (8 n^2)."""
    bend = 6 * float(np.hypot(*np.diff(leg, n=2, axis=0).T).max())
    count = max(1, int(np.ceil(np.sqrt(bend / 8 / sag_ft))))
    t = np.linspace(0, 1, count + 1)[1:-1]
    weights = np.column_stack([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3])
    return np.vstack([weights @ leg, leg[-1]])


def _end(before: Floats, end: Floats, box: Box, stroke_ft: float) -> Floats:
    """Vertices of an end, outermost last, shape (1 or 2, 2): as it was, prolonged or turned."""
    low = np.array(box[:2]) + stroke_ft / 2
    high = np.array(box[2:]) - stroke_ft / 2
    reach = end - before
    heading = _unit(reach)
    side = np.where(end >= high - EDGE_FT, 1.0, 0.0) - np.where(end <= low + EDGE_FT, 1.0, 0.0)
    outward = side * heading > EDGE_FT
    beyond_ft = REACH_STROKES * stroke_ft
    if not outward.any():
        return end.reshape(1, 2)
    if not outward.all():
        return np.vstack([end, end + heading * beyond_ft])
    heading = _heading_to_corner(reach, side, stroke_ft / 2)
    return np.asarray(before + heading * (np.hypot(*reach) + beyond_ft)).reshape(1, 2)


def _heading_to_corner(reach: Floats, side: Floats, half_ft: float) -> Floats:
    """Direction of the line that passes a corner at half a stroke, on the inner side.

    The corner is half a stroke, each way, beyond the tip of `reach`; the line is the tangent to
    the circle around it.
    """
    corner = reach + side * half_ft
    along = _unit(corner)
    sine = half_ft / np.hypot(*corner)
    inner = np.sign(along[0] * reach[1] - along[1] * reach[0])
    across = inner * np.array([-along[1], along[0]])
    return np.asarray(along * np.sqrt(1 - sine**2) + across * sine)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.hypot(*vector))


def _line(piece: Trace) -> shapely.LineString:
    if piece.closed:
        return shapely.LinearRing(piece.xy)
    return shapely.LineString(piece.xy)
