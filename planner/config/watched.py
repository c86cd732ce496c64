"""The files of a site, looked at again and again while the service runs: a good change is taken up, a bad one told."""

from __future__ import annotations

from pathlib import Path

from planner.config.light import raw
from planner.config.load import Config, load, rules_files
from planner.errors import PlannerError

_NOT_IN_FORCE = "The changed config is not in force, the last good one is"


class Watched:
    """The last good config of a file, and what is wrong with the file since."""

    def __init__(self, config: Config) -> None:
        self._config = config
        self._beside: tuple[Path, ...] = ()
        self._beside_as_of: object = None
        self._seen = self._state()
        self.fault: str | None = None

    @property
    def last(self) -> Config:
        """The config as it was when the files were looked at last; reads nothing."""
        return self._config

    def current(self) -> Config:
        """The config to work with now; reads the files again when one of them has changed, which takes a while."""
        state = self._state()
        if state == self._seen:
            return self._config
        self._seen = state
        try:
            self._config = load(self._config.file)
            self.fault = None
        except PlannerError as error:
            self.fault = f"{_NOT_IN_FORCE}: {error}"
        except Exception as error:
            # A fault of ours in reading must neither stop the service nor pass for a config that holds.
            self.fault = (
                f"{_NOT_IN_FORCE}: {self._config.file} could not be read ({type(error).__name__}: {error}). "
                "Run haysel check, and undo the last change."
            )
        return self._config

    def _state(self) -> tuple[tuple[str, int, int], ...]:
        own = _stamp(self._config.file)
        # Looked at every few seconds, for each of many sites: read only where it has changed.
        if own != self._beside_as_of:
            self._beside, self._beside_as_of = _files_beside(self._config.file), own
        return own, *(_stamp(file) for file in self._beside)


def _files_beside(file: Path) -> tuple[Path, ...]:
    """The rules and materials files that a site file names; none where it cannot be read."""
    try:
        named = raw(file)
    except PlannerError:
        return ()
    beside_it = [*rules_files(named), str(named.get("materials", "materials.toml"))]
    return tuple(file.parent / name for name in beside_it)


def _stamp(file: Path) -> tuple[str, int, int]:
    try:
        status = file.stat()
    except (OSError, ValueError):
        return str(file), 0, 0
    return str(file), status.st_mtime_ns, status.st_size
