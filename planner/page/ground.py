"""The page of the ground: how each surface bears feet, the seed in it, leaf length and nitrogen."""

from __future__ import annotations

from planner.page.layout import clock_of, write
from planner.page.rows import guesses, underfoot
from planner.reports.retold import for_people
from planner.reports.rows import Report
from planner.reports.surface_rows import SeedRow, SurfaceRow


def ground(report: Report) -> bytes:
    """Every surface as it stands."""
    report = for_people(report, report.site.units)
    return write(
        "ground.html.j2",
        report,
        underfoot=underfoot(report, clock_of(report)),
        guesses=guesses(report),
        seed=seeds(report),
        wash_not_read=next((row.says for row in report.not_read if row.kind == "wash"), None),
        surfaces=_with_records(report),
    )


def seeds(report: Report) -> list[tuple[str, SeedRow]]:
    """Every sowing with its surface."""
    return [(row.surface, seed) for row in report.ground for seed in row.seed]


def _with_records(report: Report) -> list[SurfaceRow]:
    """Surfaces of which a cut or a feed is known."""
    return [
        row
        for row in report.surfaces
        if row.leaf is not None or (row.nitrogen.month is not None and row.nitrogen.month.given_g_m2)
    ]
