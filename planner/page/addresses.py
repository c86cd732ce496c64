"""Every address of the service with its parameters, drawn from its OpenAPI description."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from planner.page.frame import environment


def addresses(description: Mapping[str, Any]) -> bytes:
    """The page at /docs. It needs nothing from elsewhere and no script."""
    rows = []
    for path, methods in description["paths"].items():
        for method, told in methods.items():
            rows.append(
                {
                    "path": path,
                    "method": method.upper(),
                    "summary": told.get("summary", ""),
                    "parameters": [_parameter(one) for one in told.get("parameters", [])],
                    "answers": [
                        {
                            "code": code,
                            "says": answer.get("description", ""),
                            "types": list(answer.get("content", {})),
                        }
                        for code, answer in told.get("responses", {}).items()
                    ],
                    "can_try": method == "get" and "{" not in path,
                }
            )
    template = environment().get_template("addresses.html.j2")
    return template.render(
        title=description["info"]["title"], version=description["info"]["version"], rows=rows
    ).encode()


def _parameter(one: Mapping[str, Any]) -> dict[str, Any]:
    schema = one.get("schema", {})
    choices = [part for part in schema.get("anyOf", [schema]) if part.get("type") != "null"]
    first = choices[0] if choices else {}
    return {
        "name": one["name"],
        "where": one["in"],
        "required": one.get("required", False),
        "says": one.get("description", ""),
        "type": first.get("type", ""),
        "allowed": first.get("enum", []),
        "example": (schema.get("examples") or [schema.get("default", "")])[0],
    }
