"""Ready-to-paste pieces for home dashboards, filled with this instance's own address."""

from __future__ import annotations

import json
from dataclasses import dataclass

from planner.page.frame import Answers, write


@dataclass(frozen=True, slots=True)
class Snippet:
    """One piece to paste: for what, in which syntax, and where it goes."""

    name: str
    title: str
    where: str
    syntax: str
    text: str


def snippets(base: str) -> list[Snippet]:
    """All pieces for an address such as http://turf.lan:8480 (no slash at the end)."""
    return [
        Snippet(
            "rest",
            "Home Assistant, sensors over REST",
            "configuration.yaml; then restart the hub.",
            "yaml",
            _rest(base),
        ),
        Snippet(
            "calendar",
            "A calendar (Home Assistant, openHAB, a phone)",
            "Add a remote calendar with this address. Hubs look once a day by default: set it to an hour.",
            "url",
            f"{base}/calendar.ics",
        ),
        Snippet(
            "openhab",
            "openHAB, iCalendar binding",
            "A file in things/, for instance turf.things.",
            "things",
            f'Bridge icalendar:calendar:turf "Turf work" [ url="{base}/calendar.ics", refreshTime=60 ]',
        ),
        Snippet(
            "hours",
            "Grafana with the Infinity data source: the hours",
            "A panel's query. The rows need no root selector.",
            "json",
            json.dumps(_infinity(base), indent=2),
        ),
        Snippet(
            "csv",
            "The hours as a table (any spreadsheet)",
            "Import from this address.",
            "url",
            f"{base}/api/v1/hours?format=csv",
        ),
        Snippet(
            "prometheus", "Prometheus", "prometheus.yml, under scrape_configs.", "yaml", _prometheus(base)
        ),
        Snippet(
            "shell",
            "A line for the shell",
            "Prints the sentence of the day.",
            "shell",
            f"curl -s {base}/api/v1/now | "
            "python3 -c 'import json, sys; print(json.load(sys.stdin)[\"headline\"])'",
        ),
    ]


def help_page(answers: Answers, base: str) -> bytes:
    """How to see this on a home dashboard."""
    return write("help.html.j2", answers, snippets=snippets(base), base=base, reload=False)


def _rest(base: str) -> str:
    return f"""rest:
  - resource: "{base}/api/v1/now"
    scan_interval: 300
    timeout: 10
    sensor:
      - name: "Turf headline"
        unique_id: haysel_headline
        value_template: "{{{{ value_json.headline }}}}"
        json_attributes:
          - issued_at
          - stale
          - fault
          - credit
      - name: "Turf next spraying hours"
        unique_id: haysel_spraying_next_start
        device_class: timestamp
        value_template: "{{{{ value_json.spraying_next_start }}}}"
        json_attributes:
          - spraying_next_job
          - spraying_next_surface
          - spraying_latest_start
          - spraying_state
          - spraying_reason
      - name: "Turf growth potential"
        unique_id: haysel_growth_potential
        state_class: measurement
        value_template: "{{{{ value_json.today_growth_potential }}}}"
    binary_sensor:
      - name: "Turf frost warning"
        unique_id: haysel_frost
        value_template: "{{{{ value_json.frost }}}}"
      - name: "Turf seed wash warning"
        unique_id: haysel_rain_wash
        value_template: "{{{{ value_json.rain_wash }}}}"
      - name: "Turf forecast too old"
        unique_id: haysel_stale
        device_class: problem
        value_template: "{{{{ value_json.stale }}}}"
"""


def _infinity(base: str) -> dict[str, object]:
    columns = [
        {"selector": "time", "text": "Time", "type": "timestamp"},
        {"selector": "air_temp_c", "text": "Air (C)", "type": "number"},
        {"selector": "surface_temp_c", "text": "Turf (C)", "type": "number"},
        {"selector": "rain_mm", "text": "Rain (mm)", "type": "number"},
        {"selector": "wind_2m_kmh", "text": "Wind at 2 m (km/h)", "type": "number"},
    ]
    return {
        "type": "json",
        "source": "url",
        "format": "timeseries",
        "url": f"{base}/api/v1/hours",
        "url_options": {"method": "GET"},
        "root_selector": "",
        "columns": columns,
    }


def _prometheus(base: str) -> str:
    scheme, _, address = base.partition("://")
    return f"""scrape_configs:
  - job_name: turf
    scheme: {scheme}
    scrape_interval: 5m
    static_configs:
      - targets: ["{address}"]
"""
