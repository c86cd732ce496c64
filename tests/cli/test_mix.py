"""The mix sheet as a keeper asks for it, and faults of kit and materials on the sheet of faults."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from planner.cli.commands import haysel
from planner.config.load import load
from planner.errors import ConfigError, InputError, NotKnown
from tests.made import DEMO, ROOT


def ask(*words: str) -> Result:
    return CliRunner().invoke(haysel, ["mix", *words, "--config", str(DEMO)])


def test_the_green_needs_sixteen_litres_of_the_twenty_typed():
    # Scenario S22: 340 m2 at 480 L/ha.
    answer = ask("foliar_feed", "--litres", "20")
    assert answer.exit_code == 0, answer.output
    assert "16.3 L needed; 3.7 L over." in answer.output
    assert "Not on a second pass" in answer.output
    assert "850 mL foliar 10-0-4" in answer.output
    assert "0.30 g/m² N" in answer.output
    assert max(map(len, answer.output.splitlines())) <= 80


LABELLED = ["systemic_herbicide", "contact_herbicide", "growth_regulator"]


@pytest.mark.parametrize("job", LABELLED)
def test_work_under_a_label_is_not_mixed_by_an_example_rate(job):
    # The shipped rates are invented: only the label in hand says what may go on.
    answer = ask(job)
    assert isinstance(answer.exception, InputError)
    assert "Type the product's name and its rate from the label (product and rate, in L a hectare)" in str(
        answer.exception
    )
    half = ask(job, "--rate", "1.5")
    assert "Type both from the label" in str(half.exception)


@pytest.mark.parametrize("job", LABELLED)
def test_name_and_rate_of_the_label_make_the_mix(job):
    answer = ask(job, "--product", "Name on the can", "--rate", "1.5")
    assert answer.exit_code == 0, answer.output
    assert "(Name on the can) at 1.5 L/ha" in " ".join(answer.output.split())
    # Nothing that the file says of its example is said of the product in hand.
    assert "dry hours" not in answer.output
    assert "example" not in answer.output


def test_an_example_rate_is_named_beside_every_amount():
    found = json.loads(ask("foliar_feed", "--json").output)
    said = [one["says"] for one in (*found["products"], *found["loads"][0]["products"])]
    assert all(one.endswith("(example rate, not your label)") for one in said)
    assert found["labels"][0]["is_example"]


@pytest.mark.parametrize("rate", ["0", "-1", "nan"])
def test_a_rate_that_is_none_is_refused(rate):
    answer = ask("growth_regulator", "--product", "Name", f"--rate={rate}")
    assert "a rate above 0 is wanted" in str(answer.exception)


def test_cautions_of_the_label_are_always_on_the_sheet():
    answer = ask("systemic_herbicide", "--product", "Name on the can", "--rate", "1.5")
    assert "The label and local law come first" in answer.output
    assert "training or a licence" in " ".join(answer.output.split())


def test_granules_go_into_the_spreader():
    found = json.loads(ask("granular_feed", "--surface", "east bank", "--json").output)
    assert found["kit"] == "drop spreader"
    assert found["products"][0]["amount"] == pytest.approx(8.4)
    assert found["labels"][0]["air_temp_max_c"] == 29


@pytest.mark.parametrize(
    ("words", "error", "says"),
    [
        (("foliar",), NotKnown, 'no job "foliar".*foliar_feed'),
        (("foliar_feed", "--material", "folia 10-0-4"), NotKnown, 'Did you mean "foliar 10-0-4"'),
        (("foliar_feed", "--surface", "grean"), NotKnown, 'Did you mean "green"'),
        (("foliar_feed", "--kit", "barow"), NotKnown, "sprayer or spreader"),
        (("mow_green",), InputError, "No material in the materials file is for the job mow_green"),
        (("foliar_feed", "--kg", "3"), InputError, "is a sprayer: give litres"),
    ],
)
def test_what_does_not_fit_is_told(words, error, says):
    answer = ask(*words)
    assert isinstance(answer.exception, error)
    with pytest.raises(error, match=says):
        raise answer.exception


SITE = (ROOT / "config" / "haysel.toml").read_text()
MATERIALS = (ROOT / "config" / "materials.toml").read_text()


def faults(folder: Path, site: str = SITE, materials: str = MATERIALS) -> str:
    (folder / "rules.toml").write_text((ROOT / "config" / "rules.toml").read_text())
    (folder / "materials.toml").write_text(materials)
    (folder / "haysel.toml").write_text(site)
    with pytest.raises(ConfigError) as caught:
        load(folder / "haysel.toml")
    return str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('nozzle = "04"', 'nozzle = "44"', 'There is no nozzle size "44"'),
        ("tank_l = 60", "tank_l = 0", "greater than 0 (seen: 0)"),
        ("tank_l = 60", "tank = 60", 'Did you mean "tank_l"?'),
        ('begins = "22:00"', 'begins = "22 h"', '"22 h" is not a time of day'),
        ('kind = "log"', 'kind = "logg"', "logg"),
        ('kind = "log"', 'kind = "webhook"', "give one of url, url_env"),
        (
            "# [growth.green]",
            '[[wanted]]\njob = "foliar_fead"\nevery_days = 7\n',
            'Did you mean "foliar_feed"?',
        ),
        ("# [growth.green]", '[[wanted]]\njob = "foliar_feed"\n', "give one of by, every_days"),
        ("# [growth.green]", "[growth.grean]\n", 'Did you mean "green"?'),
    ],
)
def test_a_fault_of_the_kit_is_told(tmp_path, old, new, says):
    # The sheet is wrapped for a terminal.
    assert says in " ".join(faults(tmp_path, site=SITE.replace(old, new, 1)).split())


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('jobs = ["foliar_feed"]', 'jobs = ["foliar_fed"]', 'Did you mean "foliar_feed"?'),
        ('form = "soluble"', 'form = "solubel"', 'Did you mean "soluble"?'),
        ("rate_per_ha = 25 ", "rate_per_ha = 35 ", "above the label's highest"),
        ('name = "urea 46-0-0"', 'name = "foliar 10-0-4"', '"foliar 10-0-4" is given twice'),
        ("rainfast_h = 4 ", "rainfast = 4 ", 'Did you mean "rainfast_h"?'),
    ],
)
def test_a_fault_of_the_materials_is_told_with_its_file(tmp_path, old, new, says):
    answer = faults(tmp_path, materials=MATERIALS.replace(old, new, 1))
    assert says in " ".join(answer.split())
    assert answer.startswith(str(tmp_path / "materials.toml"))


def test_a_named_materials_file_must_be_there(tmp_path):
    (tmp_path / "rules.toml").write_text((ROOT / "config" / "rules.toml").read_text())
    (tmp_path / "haysel.toml").write_text('materials = "gone.toml"\n' + SITE)
    with pytest.raises(InputError, match=r"gone\.toml"):
        load(tmp_path / "haysel.toml")
