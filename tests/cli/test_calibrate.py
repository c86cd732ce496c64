"""haysel calibrate: from cans under the nozzles to litres per hectare."""

from __future__ import annotations

import json

import pytest

from tests.cli.test_commands import haysel

DEMO = ["--config", "config/demo.toml"]


def test_flow_volume_and_what_a_rate_takes():
    # 800 mL in 30 s is 1.6 L/min; 600 * 1.6 / (4.0 * 0.5) = 480 L/ha (exact from units). For 400 L/ha:
    # speed 4.0 * 480 / 400 = 4.8 km/h, or pressure 3 * (400 / 480)^2 = 2.083 bar (flow as the root of pressure).
    found = json.loads(
        haysel("calibrate", "800,800,800", "--seconds", "30", "--rate", "400", *DEMO, "--json").stdout
    )
    assert found["mean_lmin"] == pytest.approx(1.6)
    assert found["volume_lha"] == pytest.approx(480.0)
    assert found["speed_kmh"] == pytest.approx(4.8)
    assert found["pressure_bar"] == pytest.approx(2.08, abs=0.01)
    assert found["nozzles_off"] == []


def test_a_worn_nozzle_is_named_and_an_open_can_left_out():
    # Size 04 gives 1.6 L/min at 3 bar when new; 920 mL in 30 s is 15 % more.
    done = haysel("calibrate", "800,920,-", "--seconds", "30", *DEMO)
    assert done.returncode == 0, done.stderr
    words = " ".join(done.stdout.split())
    assert "Nozzle 2 gives 15 % too much: worn, replace it." in words
    assert "Not caught: nozzle 3." in words
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


@pytest.mark.parametrize(("caught", "says"), [("8OO", "is not an amount"), ("-,-", "No can was read")])
def test_what_cannot_be_read_is_told(caught, says):
    done = haysel("calibrate", "--config", "config/demo.toml", "--", caught)
    assert done.returncode == 2
    assert says in done.stderr
