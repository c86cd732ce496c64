"""haysel init, on a pipe and on a terminal: it asks, judges each answer at once, and writes a file that holds."""

from __future__ import annotations

import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path

import pytest

from planner.cli.commands import run
from planner.config.load import Config, load
from tests.cli.test_commands import haysel
from tests.made import ROOT

#: Answers in the order of the questions; what does not hold is asked again.
ANSWERS = (
    ("Units you read", ""),
    ("Name of the place", "Lower green"),
    ("Latitude", "fifty"),
    ("Latitude", "95"),
    ("Latitude", "51,62"),
    ("Latitude", "51.62 N, 2.21 W"),
    ("Time zone", "Europe/Lundon"),
    ("Time zone", "America/Denver"),
    ("Is that right", "no"),
    ("Latitude", "51.62"),
    ("Longitude", "-2.21"),
    ("Time zone", "Europe/London"),
    ("Height above sea level", ""),
    ("Height above sea level", "387 ft"),
    ("Name of a surface", ""),
    ("Its kind", ""),
    ("Area", "0"),
    ("Area", "340"),
    ("Grass", "creping_bent"),
    ("Grass", "Creeping bent"),
    ("Height of the cut", "3,8"),
    ("Slope", ""),
    ("Soil", ""),
    ("Water, other", "no"),
    ("Another surface", "yes"),
    ("Another surface", "green"),
    ("Another surface", "east bank"),
    ("Its kind", "surround"),
    ("Area", "420"),
    ("Grass", ""),
    ("Height of the cut", ""),
    ("Slope", "9"),
    ("Soil", ""),
    ("Water, other", "yes"),
    ("What is it", "water"),
    ("What you call it", "brook"),
    ("Where it lies", "NE"),
    ("How far", "6"),
    ("Another surface", ""),
    ("Jobs", "99"),
    ("Jobs", "mow_green, mow_surrounds, oversowing"),
    ("How often a week", "4"),
    ("How often a week", "0"),
    ("Monday to Friday", "06:30-25:00"),
    ("Monday to Friday", "06:30-09:30, 16:00-19:30"),
    ("Saturday", "07:00-12:00"),
    ("Sunday", ""),
)


def holds(path: Path) -> Config:
    """The config of the file, which must pass the check as a keeper runs it."""
    done = haysel("check", "--config", str(path))
    assert done.returncode == 0, done.stderr
    found = load(path)
    one = len(found.site.surfaces) == 1
    assert f": {'1 surface' if one else f'{len(found.site.surfaces)} surfaces'}, " in done.stdout
    return found


def is_as_answered(config: Config) -> None:
    site = config.site
    assert (site.name, site.latitude_deg, site.longitude_deg) == ("Lower green", 51.62, -2.21)
    # 387 ft by hand: 387 * 0.3048 = 117.96.
    assert (site.elevation_m, site.timezone, site.units) == (118.0, "Europe/London", "metric")
    green, bank = site.surfaces
    assert (green.grass.name, green.cut_height_mm, green.soil, green.area_m2) == (
        "creeping_bent",
        3.8,
        "sand",
        340,
    )
    assert (bank.kind, bank.slope_pct, bank.soil) == ("surround", 9, "loam")
    assert [(edge.name, edge.bearing_deg, edge.distance_m, edge.kind) for edge in bank.edges] == [
        ("brook", 45, 6, "water")
    ]
    assert config.keeper_jobs == ("mow_green", "mow_surrounds", "oversowing")
    assert [(one.job, one.surface, one.every_days) for one in config.wanted] == [("mow_green", "green", 1.75)]
    assert config.hours is not None
    assert config.hours.mon == (("06:30", "09:30"), ("16:00", "19:30"))
    assert config.hours.sun is None


def piped(path: Path, answers: str, *more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "planner", "init", str(path), *more],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        input=answers,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_answers_from_a_pipe_make_a_site_that_holds(tmp_path):
    done = piped(tmp_path / "site.toml", "".join(f"{answer}\n" for _, answer in ANSWERS))
    assert done.returncode == 0, done.stdout + done.stderr
    is_as_answered(holds(tmp_path / "site.toml"))
    assert max(len(line) for line in done.stdout.replace(str(tmp_path), "").splitlines()) <= 80
    for said in (
        '"fifty" is not an angle',
        '"51,62" may be one angle or two',
        "7 hours off the sun",
        'Did you mean "creeping_bent"?',
        "is there already",
    ):
        assert said in " ".join(done.stdout.split()), said


def test_defaults_are_enough_where_the_place_is_told(tmp_path):
    """Enter everywhere but where nothing can be guessed: latitude, longitude, zone, height and area."""
    zone = "Europe/Dublin"
    answers = ["", "", "53.3", "-6.3", zone, "20", "", "", "300", *[""] * 20]
    done = piped(tmp_path / "site.toml", "\n".join(answers) + "\n")
    assert done.returncode == 0, done.stdout + done.stderr
    config = holds(tmp_path / "site.toml")
    assert [surface.name for surface in config.site.surfaces] == ["green"]
    assert {"mow_green", "rolling"} <= set(config.keeper_jobs)
    # No spray is taken for granted.
    assert not {job.name for job in config.jobs if job.kind == "spraying"} & set(config.keeper_jobs)


def test_a_keeper_who_reads_feet_answers_in_feet(tmp_path):
    answers = ["imperial", "", "40.0, -83.0", "America/New_York", "800", "", "", "3600", *[""] * 20]
    done = piped(tmp_path / "site.toml", "\n".join(answers) + "\n")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Height of the cut, in [0.16]" in done.stdout
    site = holds(tmp_path / "site.toml").site
    assert site.units == "imperial"
    # By hand: 800 ft * 0.3048; 3,600 ft2 * 0.09290304; 0.16 in * 25.4.
    assert site.elevation_m == pytest.approx(243.84, abs=0.05)
    assert site.surfaces[0].area_m2 == pytest.approx(334.45, abs=0.06)
    assert site.surfaces[0].cut_height_mm == pytest.approx(4.064, abs=1e-3)


def test_answers_that_end_too_soon_write_nothing(tmp_path):
    done = piped(tmp_path / "site.toml", "\nLower green\n51.62\n")
    assert done.returncode == 2
    assert 'The answers ended at "Longitude' in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("answer", ["", "yes"])
def test_a_pipe_that_gives_the_same_for_ever_is_left(tmp_path, answer):
    done = piped(tmp_path / "site.toml", f"{answer}\n" * 10_000)
    assert done.returncode == 2
    assert "The last 5 answers to" in done.stderr
    assert len(done.stdout.splitlines()) < 40
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_stays_unless_it_is_told(tmp_path):
    path = tmp_path / "site.toml"
    path.write_text("mine", encoding="utf-8")
    answers = "".join(f"{answer}\n" for _, answer in ANSWERS)
    done = piped(path, answers)
    assert done.returncode == 2
    assert "--overwrite" in done.stderr
    assert path.read_text(encoding="utf-8") == "mine"
    # Told so, it still stays until the answers are complete.
    assert piped(path, "\n", "--overwrite").returncode == 2
    assert path.read_text(encoding="utf-8") == "mine"
    assert piped(path, answers, "--overwrite").returncode == 0
    is_as_answered(holds(path))


def asked(monkeypatch, path, name, *more):
    """A site file, made in this process from the fewest answers; the status of the command."""
    answers = iter(["", name, "53.3", "-6.3", "Europe/Dublin", "20", "", "", "300", *[""] * 20])
    monkeypatch.setattr("builtins.input", lambda: next(answers))
    return run(["init", str(path), *more])


def test_files_of_one_folder_write_a_diary_each(tmp_path, monkeypatch, capsys):
    """The second and third are known by their names; one that is written over keeps its diary."""
    for name, key in (("a", "main"), ("b", "lower_green"), ("c", "lower_green_2")):
        assert asked(monkeypatch, tmp_path / f"{name}.toml", "Lower green") == 0
        assert (f'[site] key = "{key}"' in capsys.readouterr().out) == (name != "a")
        assert load(tmp_path / f"{name}.toml").site.key == key
    assert asked(monkeypatch, tmp_path / "b.toml", "North", "--overwrite") == 0
    assert (load(tmp_path / "b.toml").site.name, load(tmp_path / "b.toml").site.key) == (
        "North",
        "lower_green",
    )
    assert run(["check", "--config", str(tmp_path)]) == 0


def test_two_files_that_write_one_diary_are_told(tmp_path, monkeypatch, capsys):
    assert asked(monkeypatch, tmp_path / "a.toml", "") == 0
    (tmp_path / "b.toml").write_bytes((tmp_path / "a.toml").read_bytes())
    capsys.readouterr()
    assert run(["check", "--config", str(tmp_path / "b.toml")]) == 0
    told = " ".join(capsys.readouterr().err.split())
    assert 'a.toml beside it has the same [site] key = "main" and the same store' in told
    assert "whose diary is older keeps its key" in told
    assert run(["check", "--config", str(tmp_path)]) == 2
    assert "whose diary is older keeps its key" in " ".join(capsys.readouterr().err.split())
    # Another store is another diary.
    own = (
        (tmp_path / "a.toml")
        .read_text(encoding="utf-8")
        .replace("[store]", '[store]\nurl = "sqlite:///a.db"')
    )
    (tmp_path / "a.toml").write_text(own, encoding="utf-8")
    assert run(["check", "--config", str(tmp_path / "b.toml")]) == 0
    assert capsys.readouterr().err == ""


def test_a_folder_that_is_not_there_is_told(tmp_path):
    done = piped(tmp_path / "none" / "site.toml", "")
    assert done.returncode == 2
    assert "There is no folder" in done.stderr


@pytest.mark.skipif(not hasattr(os, "fork"), reason="a terminal of the kind that is driven here")
def test_the_same_on_a_terminal(tmp_path):
    """Each question is waited for, then answered, as somebody types."""
    path = tmp_path / "site.toml"
    child, terminal = pty.fork()
    if child == 0:
        os.chdir(ROOT)
        os.execve(
            sys.executable,
            [sys.executable, "-m", "planner", "init", str(path)],
            {**os.environ, "PYTHONPATH": str(ROOT), "TERM": "dumb", "COLUMNS": "80"},
        )
    shown = ""
    for question, answer in ANSWERS:
        shown, before = "", shown
        while not re.search(r"(?m)^ *[^\n]+: $", shown):
            shown += read_some(terminal, before + shown)
        assert question in shown.splitlines()[-1], (question, shown)
        os.write(terminal, f"{answer}\n".encode())
    while True:
        try:
            shown += read_some(terminal, shown)
        except (OSError, EOFError):
            break
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    is_as_answered(holds(path))


def read_some(terminal: int, seen: str) -> str:
    """What the terminal shows next; a failure after a minute without a word."""
    begun = time.monotonic()
    while time.monotonic() - begun < 60.0:
        if select.select([terminal], [], [], 1.0)[0]:
            found = os.read(terminal, 4096).decode(errors="replace").replace("\r\n", "\n")
            if not found:
                raise EOFError
            return found
    raise AssertionError(f"nothing was asked after: {seen[-400:]}")
