"""What pictures are drawn with: rectangles, lines, words; black, grey and hatching alone.

Coordinates are binary floats here and nowhere else: they place ink, and no
figure is read back from them. Every figure shown comes in as text.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

WIDTH = 480.0
INK, GREY, PALE = "#111", "#8a8a8a", "#d9d9d9"
HATCH = "url(#hatch)"
SIZE = 9.0
# Libertinus runs a little under half its size per letter; enough to know whether a word fits.
_LETTER = 0.48

_HATCHING = (
    '<pattern id="hatch" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="4" height="4" fill="#fff"/><line x1="0" y1="0" x2="0" y2="4" stroke="#111" '
    'stroke-width="1"/></pattern>'
)


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawn picture, and what it shows in words."""

    svg: str
    alt: str


@dataclass(slots=True)
class Sheet:
    """A sheet to draw on: `title` names the picture, `says` are the sentences of its alternative."""

    title: str
    height: float = 0.0
    says: list[str] = field(default_factory=list)
    _drawn: list[str] = field(default_factory=list)

    def rectangle(self, x: float, y: float, width: float, height: float, fill: str = PALE) -> None:
        self._drawn.append(
            f'<rect x="{x:.2f}" y="{y:.2f}" width="{max(width, 0):.2f}" height="{height:.2f}" '
            f'fill="{fill}" stroke="{INK}" stroke-width="0.6"/>'
        )

    def line(
        self, points: Sequence[tuple[float, float]], *, dashed: bool = False, weight: float = 0.6
    ) -> None:
        path = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
        dashes = ' stroke-dasharray="3 2"' if dashed else ""
        self._drawn.append(
            f'<polyline points="{path}" fill="none" stroke="{INK}" stroke-width="{weight}"{dashes}/>'
        )

    def ribbon(self, left: tuple[float, float], right: tuple[float, float], thick: float, fill: str) -> None:
        """A band of the same thickness from one place to another."""
        (x1, y1), (x2, y2) = left, right
        middle = (x1 + x2) / 2
        self._drawn.append(
            f'<path d="M{x1:.2f},{y1:.2f} C{middle:.2f},{y1:.2f} {middle:.2f},{y2:.2f} {x2:.2f},{y2:.2f} '
            f"V{y2 + thick:.2f} C{middle:.2f},{y2 + thick:.2f} {middle:.2f},{y1 + thick:.2f} "
            f'{x1:.2f},{y1 + thick:.2f} Z" fill="{fill}" stroke="{INK}" stroke-width="0.4"/>'
        )

    def dot(self, x: float, y: float) -> None:
        self._drawn.append(f'<circle cx="{x:.2f}" cy="{y:.2f}" r="2" fill="{INK}"/>')

    def diamond(self, x: float, y: float, half: float = 4.5) -> None:
        corners = (
            f"{x:.2f},{y - half:.2f} {x + half:.2f},{y:.2f} {x:.2f},{y + half:.2f} {x - half:.2f},{y:.2f}"
        )
        self._drawn.append(f'<polygon points="{corners}" fill="#fff" stroke="{INK}" stroke-width="1.2"/>')

    def words(self, x: float, y: float, text: str, anchor: str = "start", *, bold: bool = False) -> None:
        weight = ' font-weight="bold"' if bold else ""
        self._drawn.append(
            f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}"{weight}>{escape(text)}</text>'
        )

    def done(self) -> Picture:
        # Where nothing is accountable nothing was drawn; a picture without height is none at all.
        self.height = max(self.height, 1)
        alt = " ".join([f"{self.title}.", *self.says])
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {self.height:.0f}" '
            f'width="{WIDTH:.0f}" height="{self.height:.0f}" role="img" aria-label={quoteattr(self.title)} '
            f'font-family="\'Libertinus Serif\', serif" font-size="{SIZE}" fill="{INK}">'
        )
        said = f"<title>{escape(self.title)}</title><desc>{escape(alt)}</desc>"
        return Picture(f"{head}{said}<defs>{_HATCHING}</defs>{''.join(self._drawn)}</svg>", alt)


def room(text: str) -> float:
    """About how wide a text will be."""
    return len(text) * SIZE * _LETTER
