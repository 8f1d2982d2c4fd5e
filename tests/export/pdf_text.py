"""Words of a PDF of ours with their places: a reader for the few operators that we write."""

from __future__ import annotations

import base64
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from reportlab.pdfbase.pdfmetrics import stringWidth

_STREAM = re.compile(rb"(<<[^>]*?/FlateDecode[^>]*?>>)\s*stream\r?\n(.*?)endstream", re.S)
_TOKEN = re.compile(rb"\((?:[^()\\]|\\.)*\)|\[[^\]]*\]|/[^\s/\[\]()]+|[^\s/\[\]()]+", re.S)
_ESCAPE = re.compile(rb"\\([0-7]{1,3}|.)", re.S)
_SIGNS = {b"n": b"\n", b"r": b"\r", b"t": b"\t"}

Matrix = tuple[float, float, float, float, float, float]
_SAME: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True)
class Word:
    """One string as shown: page from 0, both ends of its base line, size in points."""

    page: int
    text: str
    x0: float
    y0: float
    x1: float
    y1: float
    size: float


def page_sizes(pdf: bytes) -> list[tuple[float, float]]:
    """Width and height of every page, points."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0\s+0\s+([\d.]+)\s+([\d.]+)\s*\]", pdf)
    return [(float(a), float(b)) for a, b in boxes]


def words(pdf: bytes) -> list[Word]:
    """All strings of all pages."""
    fonts = _fonts(pdf)
    return [w for page, text in enumerate(_contents(pdf)) for w in _page(page, text, fonts)]


def _contents(pdf: bytes) -> Iterator[bytes]:
    for head, body in _STREAM.findall(pdf):
        assert b"/ASCII85Decode" in head
        yield zlib.decompress(base64.a85decode(b"<~" + body.strip(), adobe=True))


def _fonts(pdf: bytes) -> dict[str, str]:
    """Resource name of every font -> its real name."""
    found = re.findall(rb"/BaseFont\s*/(\S+).*?/Name\s*/(F\d+)", pdf, re.S)
    return {name.decode(): base.decode() for base, name in found}


def _page(page: int, content: bytes, fonts: dict[str, str]) -> Iterator[Word]:
    stack: list[Matrix] = []
    now, start, line, font, size, lead = _SAME, _SAME, _SAME, "Helvetica", 1.0, 0.0
    args: list[bytes] = []
    for token in _TOKEN.findall(content):
        if token == b"q":
            stack.append(now)
        elif token == b"Q":
            now = stack.pop()
        elif token == b"cm":
            now = _times(_matrix(args), now)
        elif token == b"Tm":
            start = line = _matrix(args)
        elif token == b"Td":
            start = line = _times((1, 0, 0, 1, float(args[-2]), float(args[-1])), start)
        elif token == b"TL":
            lead = float(args[-1])
        elif token == b"T*":
            start = line = _times((1, 0, 0, 1, 0, -lead), start)
        elif token == b"Tf":
            font, size = fonts[args[-2][1:].decode()], float(args[-1])
        elif token == b"Tj":
            yield _word(page, _plain(args[-1]), (font, size), _times(line, now))
            wide = stringWidth(_plain(args[-1]), font, size)
            line = _times((1, 0, 0, 1, wide, 0), line)
        args = [] if token.isalpha() or token == b"T*" else [*args, token]


def _word(page: int, text: str, look: tuple[str, float], at: Matrix) -> Word:
    a, b, _, _, x, y = at
    wide = stringWidth(text, *look)
    return Word(page, text, x, y, x + a * wide, y + b * wide, look[1])


def _matrix(args: list[bytes]) -> Matrix:
    a, b, c, d, e, f = (float(v) for v in args[-6:])
    return a, b, c, d, e, f


def _times(m: Matrix, n: Matrix) -> Matrix:
    return (
        m[0] * n[0] + m[1] * n[2], m[0] * n[1] + m[1] * n[3],
        m[2] * n[0] + m[3] * n[2], m[2] * n[1] + m[3] * n[3],
        m[4] * n[0] + m[5] * n[2] + n[4], m[4] * n[1] + m[5] * n[3] + n[5],
    )  # fmt: skip


def _plain(token: bytes) -> str:
    def sign(found: re.Match[bytes]) -> bytes:
        code = found[1]
        return bytes([int(code, 8)]) if code.isdigit() else _SIGNS.get(code, code)

    return _ESCAPE.sub(sign, token[1:-1]).decode("cp1252", "replace")
