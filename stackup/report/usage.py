"""What is wrong with a command line, in plain words: what was found, what is allowed, the nearest name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from stackup.errors import CaseError, Fault, nearest, whole_number_meant

_EXTRA = re.compile(r"unexpected extra arguments?(?:\(s\))? \((.*)\)")


def fault_of(error: Any, arguments: Sequence[str], program: str = "stackup") -> CaseError:
    """Return the fault that the parser's ``error`` tells of in the command line ``arguments``."""
    context = getattr(error, "ctx", None)
    path = context.command_path if context else " ".join((program, *arguments[:1]))
    found, allowed, near = _in_words(error, context, path, str(error.format_message()))
    return CaseError([Fault(path, found, allowed, near)])


def _in_words(error: Any, context: Any, path: str, message: str) -> tuple[str, str, str | None]:
    """Return what was found, what is allowed, and the nearest name."""
    parameter, option = getattr(error, "param", None), getattr(error, "option_name", None)
    if type(error).__name__ == "MissingParameter" and parameter is not None:
        return f"no {_name(parameter)}", _meaning(parameter), None
    if parameter is not None:
        return _bad_value(error, parameter, message)
    if option:
        return _bad_option(str(option), context, path, message)
    if extra := _EXTRA.search(message):
        return f"the unexpected argument {extra[1]}", _pattern(context, path), None
    if "No such command" in message and context is not None:
        commands = list(getattr(context.command, "commands", {}))
        name = message.partition("'")[2].partition("'")[0]
        return f"no command {name}", ", ".join(commands), nearest(name, commands)
    return message[:1].lower() + message[1:].rstrip("."), f"see {path} --help", None


def _bad_option(option: str, context: Any, path: str, message: str) -> tuple[str, str, str | None]:
    if "requires an argument" in message:
        return f"{option} without a value", f"a value behind {option}: see {path} --help", None
    if "not take a value" in message:
        return f"a value behind {option}", f"{option} alone", None
    return f"no option {option}", f"see {path} --help", nearest(option, _options(context))


def _name(parameter: Any) -> str:
    """Return how a parameter is written on the command line: ``CASE``, ``--seed``."""
    return str(parameter.metavar or parameter.opts[0]) if _is_argument(parameter) else str(max(parameter.opts, key=len))


def _is_argument(parameter: Any) -> bool:
    return not any(name.startswith("-") for name in parameter.opts)


def _meaning(parameter: Any) -> str:
    help_text = str(getattr(parameter, "help", None) or "").rstrip(".")
    return f"{_name(parameter)}, {help_text[:1].lower()}{help_text[1:]}" if help_text else _name(parameter)


def _options(context: Any) -> list[str]:
    return [] if context is None else [name for one in context.command.params for name in one.opts if name[:1] == "-"]


def _pattern(context: Any, path: str) -> str:
    """Return ``stackup check CASE``: the arguments that a command takes."""
    if context is None:
        return f"see {path} --help"
    names = [_name(one).strip("[]") for one in context.command.params if _is_argument(one)]
    required = {_name(one).strip("[]") for one in context.command.params if getattr(one, "required", False)}
    return " ".join([path, *(name if name in required else f"[{name}]" for name in names)])


# Values of a wrong sort ----------------------------------------------------------------------------------------


def _bad_value(error: Any, parameter: Any, message: str) -> tuple[str, str, str | None]:
    value = _value_of(error, message)
    if not (allowed := _number_words(parameter, message)):
        return f"{_name(parameter)} {value}".rstrip(), message[:1].lower() + message[1:].rstrip("."), None
    return f"{_name(parameter)} {value}".rstrip(), allowed, whole_number_meant(value) if "whole" in allowed else None


def _value_of(error: Any, message: str) -> str:
    """Return the text that was no value, as far as the parser tells."""
    causes = getattr(error.__cause__, "errors", None)
    if causes is not None:
        return str(causes()[0].get("input", ""))
    quoted = re.findall(r"'([^']*)' is not", message) or re.findall(r": (\S+) is not", message)
    return quoted[0] if quoted else ""


def _number_words(parameter: Any, message: str) -> str:
    """Return which numbers a parameter takes; "" where it takes none."""
    kind = getattr(parameter, "type", None)
    low, high = (_limit(parameter, kind, name) for name in ("min", "max"))
    annotation = getattr(getattr(parameter, "type_descriptor", None), "annotation", None)
    is_whole = annotation is int or "integer" in message or "integer" in str(getattr(kind, "name", ""))
    is_number = is_whole or annotation is float or "float" in str(getattr(kind, "name", "")) or "number" in message
    if not is_number:
        return ""
    word = "a whole number" if is_whole else "a number"
    if low is None:
        return word
    return f"{word} of at least {low}" if high is None else f"{word} from {low} to {high}"


def _limit(parameter: Any, kind: Any, name: str) -> Any:
    own = getattr(parameter, name, None)
    return getattr(kind, name, None) if own is None else own
