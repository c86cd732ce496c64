"""Several sites in one installation: a folder of site files, each a site of its own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from pathlib import Path

from planner.config.kit_schema import HomePart, MqttPart
from planner.config.light import Kept, kept_at, text_of
from planner.config.lines import read_toml
from planner.config.load import Config, load
from planner.errors import ConfigError, InputError
from planner.mix.kit import Sprayer
from planner.terms import slug

#: A diary is found by the key under which it was written.
_OLDER = "The file whose diary is older keeps its key: under a new one its entries would not be seen."


def site_files(folder: Path) -> list[Path]:
    """The site files of a folder, by name: every TOML file with a table `[site]`. InputError where there is none."""
    found = []
    for path in sorted(folder.glob("*.toml")):
        try:
            values = read_toml(text_of(path), str(path))
        except ConfigError:
            # Whether it would be a site cannot be known: loading it says what is wrong.
            found.append(path)
            continue
        if "site" in values:
            found.append(path)
    if not found:
        raise InputError(f"There is no site file in {folder}: none of its TOML files has a table [site].")
    return found


def kept_beside(path: Path) -> Iterator[tuple[Path, Kept]]:
    """The other site files of the folder of that file, each with where its passes are kept.

    What is no site, or cannot be read, is passed over: it is its own check that says why.
    """
    for other in sorted(path.resolve().parent.glob("*.toml")):
        try:
            if other != path.resolve() and "site" in read_toml(text_of(other), str(other)):
                yield other, kept_at(other)
        except (ConfigError, InputError):
            continue


def one_diary_notes(config: Config) -> tuple[str, ...]:
    """What is to be said of other site files beside this one that would write into its diary."""
    return tuple(
        f'{other.name} beside it has the same [site] key = "{kept.site}" and the same store, so that both write one '
        f"diary. Give one of them a key of its own. {_OLDER}"
        for other, kept in kept_beside(config.file)
        if (kept.site, kept.url) == (config.site.key, config.store.url)
    )


def load_sites(folder: Path) -> tuple[Config, ...]:
    """The config of every site of a folder, by the names of their files.

    ConfigError carries the faults of all files, InputError what they cannot share: a key, a node on one
    broker, or another service.
    """
    configs: list[Config] = []
    faults: list[ConfigError] = []
    for path in site_files(folder):
        try:
            configs.append(load(path))
        except ConfigError as error:
            faults.append(error)
    if faults:
        first, *others = faults
        raise ConfigError(first.file, first.faults, *first.files[1:], *others)
    _held_apart(configs)
    return tuple(configs)


def _held_apart(configs: Sequence[Config]) -> None:
    """One installation: no key twice, since record and passes are kept by it, and one service that answers.

    On one broker each has its own node.
    """
    by_key: dict[str, Config] = {}
    for config in configs:
        key = config.site.key
        if key in by_key:
            raise InputError(
                f'{by_key[key].file} and {config.file} both have [site] key = "{key}". What is kept is kept by it: '
                f"give each site its own. {_OLDER}"
            )
        by_key[key] = config
    first, *others = by_key.values()
    for other in others:
        if other.service != first.service:
            raise InputError(
                f"[service] of {other.file} differs from that of {first.file}. One service answers for all of "
                "them: write the same in each."
            )
    _share_a_store(configs)
    topics: dict[tuple[str, str, int, str], Config] = {}
    for config in configs:
        mine = {_broker("[home]", config.home)} if config.home is not None else set()
        mine |= {_broker("an output", part) for part in config.outputs if isinstance(part, MqttPart)}
        for one in mine:
            if one in topics:
                what, host, port, node = one
                raise InputError(
                    f'{what} of {topics[one].file} and of {config.file} publish as the node "{node}" on the broker '
                    f"{host}:{port}, and would take each other's topics away: give each its own node."
                )
        topics |= dict.fromkeys(mine, config)


def _share_a_store(configs: Sequence[Config]) -> None:
    """What sites share is seen where its other sites are kept."""
    by_name: dict[tuple[bool, str], Config] = {}
    for config in configs:
        if config.shared is None:
            continue
        shared = config.shared
        what = f'the {"keeper" if shared.is_keeper else "sprayer"} "{shared.name}"'
        other = by_name.setdefault((shared.is_keeper, shared.name), config)
        if other.store.url != config.store.url:
            raise InputError(
                f"{other.file} and {config.file} share {what} and not a store: neither would see where the other "
                "has work. Give both the same [store] url, or take `shared` off."
            )


def sprayer_notes(configs: Sequence[Config]) -> tuple[str, ...]:
    """What looks like a slip in a sprayer that sites of a folder share: it is found by its name alone."""
    notes = []
    told: set[str] = set()
    for config in configs:
        if config.shared_sprayer is None:
            continue
        name = config.shared_sprayer.name
        alike = _alike(name)
        others = [(one, had) for one in configs if one is not config if (had := _had(one, alike)) is not None]
        if not others:
            notes.append(
                f'{config.file} shares the sprayer "{name}", which no other site of the folder has: it is planned as '
                "if it were there alone."
            )
        elif alike not in told:
            told.add(alike)
            notes += [one for other, had in others for one in _slips(config, name, other, had)]
    return tuple(notes)


def _alike(name: str) -> str:
    """A name without what the eye passes over: capitals and blanks."""
    return "".join(name.split()).casefold()


def _had(config: Config, alike: str) -> Sprayer | None:
    return next((one for one in config.sprayers if _alike(one.name) == alike), None)


def _slips(config: Config, name: str, other: Config, had: Sprayer) -> Iterator[str]:
    """How the sprayer of another site differs from the one that `config` shares."""
    both = f"{config.file} and {other.file}"
    if had.name != name:
        yield (
            f'{both} name a sprayer "{name}" and "{had.name}": if it is one, write its name alike, else both may use '
            "it at once."
        )
    elif other.shared_sprayer is None or other.shared_sprayer.name != name:
        yield (
            f'{config.file} shares the sprayer "{name}", and {other.file} does not: write `shared = true` there too, '
            "and put it first among the sprayers, else both may use it at once."
        )
    mine = next(one for one in config.sprayers if one.name == name)
    figures = [
        key.name
        for key in fields(Sprayer)
        if key.name != "name" and getattr(mine, key.name) != getattr(had, key.name)
    ]
    if figures:
        yield f'{both} differ in {", ".join(figures)} of the sprayer "{name}": if it is one, write the same in each.'


def _broker(what: str, part: HomePart | MqttPart) -> tuple[str, str, int, str]:
    """What names the topics of a part: whose they are, broker, and node as topics have it."""
    return what, part.host.lower(), part.port, slug(part.node)
