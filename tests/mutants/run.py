"""Running tests against mutants: a process that has loaded everything forks for each of them."""

from __future__ import annotations

import ast
import contextlib
import importlib
import inspect
import os
import resource
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import zip_longest
from pathlib import Path
from types import CodeType, FunctionType, ModuleType

import pytest

from tests.mutants.mutate import Mutant, mutants

SURVIVED, KILLED, ENDLESS, NOT_MADE = "survived", "killed", "endless", "not made"
_CODES = {0: SURVIVED, 1: KILLED, 7: ENDLESS, 8: NOT_MADE}
#: Seconds of the processor after which a mutant is run again with its steps counted.
_PATIENCE_S = 15
#: Steps in the module, of a run that takes this many times those of the sound one, are endless.
_MANY_TIMES = 10


@dataclass(frozen=True)
class Target:
    """A module, the tests that must notice, and the parts that are mutated (all when empty)."""

    path: str
    tests: tuple[str, ...]
    only: tuple[str, ...] = ()

    @property
    def module(self) -> ModuleType:
        return importlib.import_module(self.path.removesuffix(".py").replace("/", "."))


_OPTIONS = ("-o", "addopts=", "-p", "no:terminal", "-p", "no:cacheprovider", "--hypothesis-seed=1")
Work = Callable[[Callable[[], int]], None]


class _InsteadOfRunning:
    """A plugin of the test runner: once the tests are collected, hands on a way to run them."""

    def __init__(self, work: Work) -> None:
        self._work = work

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        def run() -> int:
            for item, after in zip_longest(session.items, session.items[1:]):
                item.config.hook.pytest_runtest_protocol(item=item, nextitem=after)
                if session.testsfailed:
                    return 1
            return 0

        self._work(run)
        return True


def with_tests(target: Target, work: Work) -> None:
    """Import the tests and all they use, collect them, and call `work` with a way to run them."""
    code = pytest.main([*_OPTIONS, *target.tests], plugins=[_InsteadOfRunning(work)])
    if code not in (0, 5):
        raise SystemExit(f"the tests of {target.path} cannot be collected: pytest says {code}")


def outcomes(target: Target, run: Callable[[], int], jobs: int) -> Iterator[tuple[Mutant, str]]:
    """Each mutant with its outcome, as they end."""
    source = Path(target.path).read_text(encoding="utf-8")
    steps = _sound_steps(target, run)
    running: dict[int, Mutant] = {}
    waiting = list(mutants(source, target.only))
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop(0)
            running[_fork(partial(_tried, target, run, mutant, None))] = mutant
        pid, status = os.wait()
        mutant = running.pop(pid)
        if os.WIFSIGNALED(status):
            # Out of time: let its steps say whether it would ever end.
            status = _wait_for(_fork(partial(_tried, target, run, mutant, steps * _MANY_TIMES)))
        yield mutant, _CODES.get(os.waitstatus_to_exitcode(status), KILLED)


def _wait_for(pid: int) -> int:
    return os.waitpid(pid, 0)[1]


def _fork(work: Callable[[], int]) -> int:
    pid = os.fork()
    if pid == 0:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        code = 1
        with contextlib.suppress(BaseException):
            code = work()
        os._exit(code)
    return pid


def _tried(target: Target, run: Callable[[], int], mutant: Mutant, most_steps: int | None) -> int:
    try:
        put_in(target.module, mutant, target.path)
    except (ValueError, SyntaxError):
        return 8
    except Exception:
        # A constant that cannot be computed any more: the module would not load.
        return 1
    if most_steps is None:
        resource.setrlimit(resource.RLIMIT_CPU, (_PATIENCE_S, _PATIENCE_S))
    else:
        _count_steps(target, most_steps, lambda: os._exit(7))
    return run()


def _sound_steps(target: Target, run: Callable[[], int]) -> int:
    """Steps that the tests take in the sound module; they must pass there."""
    out = Path(f"/proc/{os.getpid()}/fd/{os.memfd_create('steps')}")

    def work() -> int:
        counted = _count_steps(target, sys.maxsize, lambda: None)
        code = run()
        out.write_text(str(counted[0]))
        return code

    began = time.monotonic()
    if _wait_for(_fork(work)) != 0:
        raise SystemExit(f"the tests of {target.path} fail before anything is mutated")
    print(f"{target.path}: sound in {time.monotonic() - began:.1f} s", flush=True)  # noqa: T201
    return int(out.read_text())


def _count_steps(target: Target, most: int, stop: Callable[[], None]) -> list[int]:
    """Count the lines run in the module."""
    name, counted = target.module.__file__, [0]

    def line(frame: object, event: str, arg: object) -> object:
        counted[0] += 1
        if counted[0] > most:
            stop()
        return line

    sys.settrace(lambda frame, event, arg: line if frame.f_code.co_filename == name else None)
    return counted


def put_in(module: ModuleType, mutant: Mutant, path: str) -> None:
    """Give the loaded module the code of the mutant, in place, so that all who imported from it have it."""
    statement = mutant.tree.body[mutant.statement]
    if isinstance(statement, ast.Assign):
        names = [target.id for target in statement.targets if isinstance(target, ast.Name)]
        before = {name: module.__dict__[name] for name in names}
        exec(compile(ast.Module([statement], []), path, "exec"), module.__dict__)  # noqa: S102
        for name in names:
            for other in list(sys.modules.values()):
                if getattr(other, "__dict__", {}).get(name) is before[name]:
                    other.__dict__[name] = module.__dict__[name]
        return
    if isinstance(statement, ast.FunctionDef):
        space = dict(vars(module))
        exec(compile(ast.Module([statement], []), module.__file__ or path, "exec"), space)  # noqa: S102
        held, new = _function_of(vars(module)[statement.name]), _function_of(space[statement.name])
        held.__code__, held.__defaults__, held.__kwdefaults__ = (
            new.__code__,
            new.__defaults__,
            new.__kwdefaults__,
        )
        return
    code = compile(mutant.tree, module.__file__ or path, "exec")
    _replace(vars(module), code, mutant.where.split("."))


def _replace(space: object, code: CodeType, names: Sequence[str]) -> None:
    name, rest = names[0], names[1:]
    inner = next(c for c in code.co_consts if isinstance(c, CodeType) and c.co_name == name)
    held = space[name]  # type: ignore[index]
    if isinstance(held, type):
        _replace(vars(held), inner, rest)
        return
    function = _function_of(held)
    if function.__code__.co_freevars != inner.co_freevars:
        raise ValueError("its closure differs")
    function.__code__ = inner


def _function_of(held: object) -> FunctionType:
    if isinstance(held, property):
        held = held.fget
    elif isinstance(held, cached_property):
        held = held.func
    elif isinstance(held, classmethod | staticmethod):
        held = held.__func__
    found = inspect.unwrap(held)  # type: ignore[arg-type]
    if not isinstance(found, FunctionType):
        raise ValueError("not a function")
    return found
