"""The replay as a picture: a row per job, a cell per month, its bar as tall as the month had windows."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from planner.hindcast import Record

_LEFT, _TOP, _CELL_W, _CELL_H, _BAR_H = 260, 64, 46, 30, 22


def svg(records: Sequence[Record], title: str) -> str:
    """An SVG of its own, readable in grey: bars by height, figures beside them, empty months hatched."""
    months = [month.month for month in records[0].months] if records else []
    most = max((month.windows for record in records for month in record.months), default=1) or 1
    width, height = _LEFT + _CELL_W * len(months) + 20, _TOP + _CELL_H * len(records) + 30
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'font-family="sans-serif" font-size="12"><title>{escape(title)}</title>',
        "<desc>Windows a month for each job and surface; a hatched cell had none.</desc>",
        '<defs><pattern id="none" width="6" height="6" patternUnits="userSpaceOnUse">'
        '<path d="M0 6 6 0" stroke="#777" stroke-width="1"/></pattern></defs>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="16" y="26" font-size="16">{escape(title)}</text>',
    ]
    for number, month in enumerate(months):
        x = _LEFT + number * _CELL_W + _CELL_W / 2
        parts.append(f'<text x="{x:g}" y="{_TOP - 8}" text-anchor="middle">{month[2:]}</text>')
    for row, record in enumerate(records):
        y = _TOP + row * _CELL_H
        name = escape(f"{record.job.label}, {record.surface.name}")
        parts.append(f'<text x="16" y="{y + 20}">{name}</text>')
        for number, told in enumerate(record.months):
            parts.append(_cell(_LEFT + number * _CELL_W, y, told.windows, most))
    parts.append(f'<text x="16" y="{height - 10}">Bars: windows in the month; hatch: none.</text></svg>')
    return "\n".join(parts)


def _cell(x: int, y: int, windows: int, most: int) -> str:
    if windows == 0:
        return (
            f'<rect x="{x + 4}" y="{y + 6}" width="{_CELL_W - 8}" height="{_BAR_H - 2}" fill="url(#none)"/>'
        )
    tall = max(2.0, _BAR_H * windows / most)
    return (
        f'<rect x="{x + 4}" y="{y + 4 + _BAR_H - tall:.1f}" width="14" height="{tall:.1f}" fill="#333"/>'
        f'<text x="{x + 22}" y="{y + 22}">{windows}</text>'
    )
