"""The forecast is too old to be trusted."""

from __future__ import annotations

from datetime import timedelta

from planner.notices.base import LEVELS, Notice, Scene

#: From then on the hours themselves are a guess, not only their detail. Judgement.
_HEED_AFTER = timedelta(hours=12)


def stale(scene: Scene) -> list[Notice]:
    """One warning while no new forecast comes."""
    if scene.stale_at is None or scene.now < scene.stale_at:
        return []
    zone = scene.plan.ground.site.zone
    heed = scene.now - scene.stale_at >= _HEED_AFTER
    return [
        Notice(
            kind="stale",
            surface=None,
            begins=scene.stale_at,
            ends=None,
            level=LEVELS[1] if heed else LEVELS[0],
            calm_level=LEVELS[1] if heed else LEVELS[0],
            chance=None,
            strength=1.0,
            step=2.0,
            says=(
                f"No new forecast has come: the one in use counts as too old since "
                f"{scene.stale_at.astimezone(zone):%a %H:%M}. Warnings from it stand as they were."
            ),
            advice=("Look at the sky before you trust an hour of it, and see whether the network is there.",),
            figures={"stale_since": scene.stale_at.isoformat()},
        )
    ]
