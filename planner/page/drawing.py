"""A drawing as it is put together: shapes and texts as SVG, and the room that every text takes."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

if TYPE_CHECKING:
    from collections.abc import Iterator

#: Size of a text, in units of the drawing; a unit is a pixel at the usual size of letters.
SIZE = 14.0
#: Widths of characters in em, upright and bold, a little generous: no font of a reader is known here. Measured on
#: common sans faces, no source.
_WIDTHS = {"figure": (0.56, 0.56), "small": (0.49, 0.54), "capital": (0.69, 0.72), "thin": (0.28, 0.3)}
_SAFETY = 1.06


def width_of(text: str, *, bold: bool = False, size: float = SIZE) -> float:
    """How wide a text is at most, about, in units of the drawing."""
    whole = 0.0
    for one in text:
        if one in " :.,;'’il|·":
            kind = "thin"
        elif one.isdigit() or one in "−–+":
            kind = "figure"
        elif one == "%" or one in "mwMW@—":
            whole += 0.89
            continue
        else:
            kind = "capital" if one.isupper() else "small"
        whole += _WIDTHS[kind][bold]
    return whole * size * _SAFETY


@dataclass(frozen=True, slots=True)
class TextBox:
    """The room of a text: left, top, right, bottom."""

    x0: float
    y0: float
    x1: float
    y1: float
    text: str


def number(value: float) -> str:
    """A coordinate, as short as it can be written."""
    text = f"{value:.1f}"
    return text[:-2] if text.endswith(".0") else text


@dataclass(slots=True)
class Drawing:
    """Shapes and texts in the order in which they are painted."""

    width: float
    parts: list[Markup] = field(default_factory=list)
    texts: list[TextBox] = field(default_factory=list)

    def path(self, look: str, data: str) -> None:
        """A shape by its outline; nothing for an empty one."""
        if data:
            self.parts.append(Markup('<path class="{}" d="{}"/>').format(look, data))

    def rect(self, look: str, x: float, y: float, width: float, height: float) -> None:
        """A box."""
        self.path(look, box(x, y, width, height))

    def text(self, look: str, x: float, y: float, text: str, *, anchor: str = "start") -> None:
        """A text on its baseline; `look` holds `b` where it is bold and `d` for the name of a day."""
        words = look.split()
        size = 15.0 if "d" in words else SIZE
        width = width_of(text, bold="b" in words or "d" in words, size=size)
        left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
        self.texts.append(TextBox(left, y - size * 0.75, left + width, y + size * 0.2, text))
        at = f' x="{number(x)}" y="{number(y)}"' + (f' text-anchor="{anchor}"' if anchor != "start" else "")
        self.parts.append(Markup(f'<text class="{look}"{at}>') + escape(text) + Markup("</text>"))

    @contextmanager
    def link(self, address: str, label: str) -> Iterator[None]:
        """What is painted within leads to the address; `label` is what a reader of the screen is told."""
        self.parts.append(Markup('<a href="{}" aria-label="{}">').format(address, label))
        yield
        self.parts.append(Markup("</a>"))

    @property
    def markup(self) -> Markup:
        """All of it."""
        return Markup("\n").join(self.parts)


def box(x: float, y: float, width: float, height: float) -> str:
    """The outline of a box."""
    return f"M{number(x)} {number(y)}h{number(width)}v{number(height)}h{number(-width)}z"


def line(points: Iterable[tuple[float, float]]) -> str:
    """The outline of a line through the points."""
    return "".join(f"{'L' if at else 'M'}{number(x)} {number(y)}" for at, (x, y) in enumerate(points))


@dataclass(slots=True)
class LabelLine:
    """One line of small labels, placed one after the other so that no two meet."""

    left: float
    right: float
    taken: list[tuple[float, float]] = field(default_factory=list)
    clear: float = 6.0

    def take(self, x0: float, x1: float) -> None:
        """Keep this stretch."""
        self.taken.append((x0, x1))

    def is_free(self, x0: float, x1: float) -> bool:
        """Whether a label there is within the line and clear of the others."""
        clear = self.clear
        return (
            x0 >= self.left
            and x1 <= self.right
            and all(x1 + clear <= a or x0 - clear >= b for a, b in self.taken)
        )

    def place(self, middle: float, width: float, *, most: float = 42.0) -> float | None:
        """The middle nearest to the wished one where the label is clear, moved by steps of 3; None where there is
        none within `most`."""
        steps = [0.0]
        for count in range(1, int(most / 3) + 1):
            steps += [3.0 * count, -3.0 * count]
        for step in steps:
            at = middle + step
            if self.is_free(at - width / 2, at + width / 2):
                self.take(at - width / 2, at + width / 2)
                return at
        return None
