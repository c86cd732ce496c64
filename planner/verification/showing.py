"""Rows of the verification in words, as a table of a page, and as a picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from planner.verification.base import Row

_LINE, _LEFT, _WIDTH, _HEAD = 34, 330, 760, 44
#: Ends of the drawn scale: gain as a share of the baseline's score.
_LEAST, _MOST = -0.5, 1.0


def verdict(row: Row) -> str:
    """Whether the baseline is beaten, in a few words."""
    if row.is_better:
        return "better"
    if row.gain_high is None:
        return "too few for an interval"
    return "worse" if row.gain_high < 0.0 else "not surely better"


def figure(value: float, row: Row) -> str:
    """A score in as many digits as say something."""
    digits = 3 if row.measure != "rmse" else 2
    return f"{value:.{digits}f}{' ' + row.unit if row.unit else ''}"


def text(rows: Sequence[Row]) -> str:
    """The rows for a terminal of 80 columns, a blank line between quantities."""
    lines: list[str] = []
    for row in rows:
        lines.append(f"{row.quantity} · {row.data} · {row.cases:,} {row.of}")
        lines.append(
            f"  {row.measure} {figure(row.score, row)}; {row.baseline} {figure(row.baseline_score, row)}"
        )
        lines.append(f"  {verdict(row)}: gain {_gain(row)}")
        for part in row.bins:
            lines.append(
                f"    said {part.low:.1f}–{part.high:.1f}: {part.said:.2f} on average, "
                f"happened {part.happened:.2f} ({part.cases} {row.of})"
            )
        if row.says:
            lines.append(f"  {row.says}")
        lines.append("")
    return "\n".join(lines).rstrip()


def _gain(row: Row) -> str:
    digits = 2 if row.measure == "rmse" else 4 if row.measure == "Brier" else 3
    if row.gain_low is None or row.gain_high is None:
        return f"{row.gain:+.{digits}f}"
    return f"{row.gain:+.{digits}f} ({row.gain_low:+.{digits}f} to {row.gain_high:+.{digits}f})"


def table(rows: Iterable[Row]) -> list[str]:
    """The rows as the lines of a table of a page."""
    lines = [
        "| quantity | data | cases | measure | ours | baseline | its score | gain (95 %) | verdict | fitted on |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        lines.append(
            f"| {row.quantity} | {row.data} | {row.cases:,} {row.of} | {row.measure} | {figure(row.score, row)} "
            f"| {row.baseline} | {figure(row.baseline_score, row)} | {_gain(row)} | {verdict(row)} "
            f"| {row.fitted}{'. ' + row.says if row.says else ''} |"
        )
    return lines


def picture(rows: Sequence[Row]) -> str:
    """An SVG: each gain as a share of the baseline's score, with its interval, beside the line of no gain."""
    height = _HEAD + _LINE * len(rows) + 34
    x0 = _x(0.0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" '
        'font-family="sans-serif" font-size="12" role="img" aria-label="Gain over the baseline">',
        f'<rect width="{_WIDTH}" height="{height}" fill="#fff"/>',
        '<text x="12" y="22" font-size="14">Gain over the baseline, as a share of the baseline’s score</text>',
        f'<line x1="{x0}" y1="{_HEAD - 8}" x2="{x0}" y2="{height - 28}" stroke="#333" stroke-dasharray="4 3"/>',
        f'<text x="{x0}" y="{height - 10}" text-anchor="middle">no gain</text>',
    ]
    for share in (-0.25, 0.25, 0.5, 0.75):
        parts.append(f'<text x="{_x(share)}" y="{height - 10}" text-anchor="middle">{share:+.0%}</text>')
    for number, row in enumerate(rows):
        y = _HEAD + _LINE * number + 10
        scale = abs(row.baseline_score) or 1.0
        low, middle, high = (
            _x((row.gain if value is None else value) / scale)
            for value in (row.gain_low, row.gain, row.gain_high)
        )
        # Filled only where the whole interval is on the good side: the mark says it without colour, too.
        fill = "#1b4332" if row.is_better else "#fff"
        parts += [
            f'<text x="12" y="{y}">{escape(f"{row.quantity}, {row.measure}")}</text>',
            f'<text x="12" y="{y + 14}" fill="#555">{escape(f"{row.data}; {row.baseline}"[:52])}</text>',
            f'<line x1="{low}" y1="{y}" x2="{high}" y2="{y}" stroke="#1b4332" stroke-width="2"/>',
            f'<circle cx="{middle}" cy="{y}" r="5" fill="{fill}" stroke="#1b4332" stroke-width="2"/>',
        ]
    return "\n".join((*parts, "</svg>")) + "\n"


def _x(share: float) -> float:
    part = (min(max(share, _LEAST), _MOST) - _LEAST) / (_MOST - _LEAST)
    return round(_LEFT + part * (_WIDTH - _LEFT - 20), 1)
