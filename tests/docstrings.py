"""
Checks the docstrings of what `audits` and `printables` offer, the way numpydoc does.

Run as ``python -m tests.docstrings``. It imports what it checks, so that it knows the parameters
of data classes, which numpydoc's own command reads only where an ``__init__`` is written out.
"""

import importlib
import inspect
import pkgutil
import re
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import is_dataclass
from enum import Enum
from pathlib import Path
from types import ModuleType
from typing import Literal, get_origin

from numpydoc.validate import ERROR_MSGS, validate
from pydantic import BaseModel

PROJECT = Path(__file__).parent.parent
PACKAGES = ("audits", "printables")
LEFT_OUT = (
    "audits.records",  # the fields are the tables' columns, in the words of the trade
    "audits.storage.columns",  # SQLAlchemy's own methods, filled in
    "audits.storage.migrations",  # scripts that Alembic runs: nobody calls them
    "audits.storage.queries",  # one question each: a connection and keys in, records out
)


def wanted_checks() -> set[str]:
    """Return the checks that pyproject.toml asks for: all, but for those it lists."""
    with (PROJECT / "pyproject.toml").open("rb") as file:
        named = tomllib.load(file)["tool"]["numpydoc_validation"]["checks"]
    return set(ERROR_MSGS) - set(named) if "all" in named else set(named)


def modules() -> Iterator[ModuleType]:
    for package in map(importlib.import_module, PACKAGES):
        yield package
        for found in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not found.name.startswith(LEFT_OUT) and not _private(found.name):
                yield importlib.import_module(found.name)


def public_names(module: ModuleType) -> Iterator[tuple[str, object]]:
    """Yield the functions and classes that a module defines, and the methods of the classes."""
    for name, thing in vars(module).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
            continue
        if inspect.isfunction(thing) or inspect.isclass(thing):
            yield f"{module.__name__}.{name}", thing
        if inspect.isclass(thing):
            for member, value in vars(thing).items():
                callable_member = isinstance(
                    value, staticmethod | classmethod | property
                ) or inspect.isfunction(value)
                if callable_member and not member.startswith("_"):
                    yield f"{module.__name__}.{name}.{member}", value


def problems() -> Iterator[str]:
    """Yield a line for every fault found."""
    checks = wanted_checks()
    for module in modules():
        for name, thing in public_names(module):
            for code, text in validate(name)["errors"]:
                if code in checks and not (code == "PR01" and _says_too_much(thing, text)):
                    yield f"{name}: {code} {text}"


def _says_too_much(thing: object, text: str) -> bool:
    """
    Tell whether a complaint about undocumented parameters names only what nobody passes.

    That is so for classes that are never called with parameters of their own (choices, errors,
    protocols), for fields described where they are inherited from, and for fields with one value.
    """
    if not inspect.isclass(thing):
        return False
    if issubclass(thing, Enum | BaseException) or getattr(thing, "_is_protocol", False):
        return True
    named = set(re.findall(r"'([^']+)'", text))
    fields = inspect.get_annotations(thing)
    return _is_data_class(thing) and not any(
        get_origin(fields[name]) is not Literal for name in named & fields.keys()
    )


def _is_data_class(thing: type) -> bool:
    """Tell whether a class's parameters are its fields."""
    return is_dataclass(thing) or issubclass(thing, BaseModel)


def _private(name: str) -> bool:
    return any(part.startswith("_") for part in name.split("."))


if __name__ == "__main__":
    found = list(problems())
    print(*found, sep="\n")  # noqa: T201 - this is a command
    sys.exit(bool(found))
