"""Doors to the outside for messages and reports: one file and one row each; they decide nothing."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

from planner.errors import InputError, NotKnown
from planner.outputs.base import Message, Output, OutputFailed, OutputUnsure

#: Kind, module, class. The module is loaded when the kind is asked for, since some need an extra package.
OUTPUTS: Mapping[str, tuple[str, str]] = {
    "log": ("planner.outputs.base", "LogOutput"),
    "webhook": ("planner.outputs.webhook", "WebhookOutput"),
    "email": ("planner.outputs.email", "EmailOutput"),
    "mqtt": ("planner.outputs.mqtt", "MqttOutput"),
    "apprise": ("planner.outputs.webhook", "AppriseOutput"),
}

__all__ = ["OUTPUTS", "Message", "Output", "OutputFailed", "OutputUnsure", "make_output"]


def make_output(kind: str, settings: Mapping[str, object]) -> Output:
    """The output of that kind with its settings; InputError names a setting that does not fit."""
    if kind not in OUTPUTS:
        raise NotKnown("kind of output", kind, list(OUTPUTS))
    module, name = OUTPUTS[kind]
    made = getattr(import_module(module), name)
    known = made.__dataclass_fields__
    for setting in settings:
        if setting not in known:
            raise NotKnown(f"setting of the output {kind}", setting, list(known))
    try:
        output: Output = made(**settings)
    except TypeError as error:
        raise InputError(
            f"The output {kind} lacks a setting ({error}). Settings: {', '.join(known)}."
        ) from error
    return output
