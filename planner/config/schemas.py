"""JSON Schemas of the config files, for editors that complete and check while one types."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pydantic import TypeAdapter

from planner.config.kit_schema import MaterialsFile
from planner.config.rules_file import RulesFile
from planner.config.schema import SiteFile
from planner.rules import AnyNeed


def site() -> dict[str, Any]:
    """Schema of a site file."""
    return SiteFile.model_json_schema()


def rules() -> dict[str, Any]:
    """Schema of a rules file. Needs of a job may be partial only where they replace one of a group."""
    schema = RulesFile.model_json_schema()
    needs = TypeAdapter(AnyNeed).json_schema(ref_template="#/$defs/{model}")
    schema["$defs"] |= needs.pop("$defs", {})
    schema["$defs"]["Need"] = {"anyOf": needs.get("oneOf") or needs.get("anyOf") or [needs]}
    for name in ("Group", "JobTable"):
        schema["$defs"][name]["properties"]["needs"]["items"] = {"$ref": "#/$defs/Need"}
    return schema


def materials() -> dict[str, Any]:
    """Schema of a materials file."""
    return MaterialsFile.model_json_schema()


#: File beside the config -> its schema.
SCHEMAS: Mapping[str, Callable[[], dict[str, Any]]] = {
    "haysel.schema.json": site,
    "rules.schema.json": rules,
    "materials.schema.json": materials,
}
