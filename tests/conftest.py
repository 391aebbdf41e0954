"""Shared by all tests: a test that leaves an asynchronous task behind fails; the owner's own files are out of reach."""

import asyncio
import functools
import inspect
import os
import signal
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.bytes_sent import WholeRun

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy comes in: products this small only lose by threading


def _checked(test: Callable[..., Awaitable[None]]) -> Callable[..., Awaitable[None]]:
    @functools.wraps(test)
    async def run(*args: Any, **kwargs: Any) -> None:  # noqa: ANN401 -- passes any test's arguments through
        before = asyncio.all_tasks()
        await test(*args, **kwargs)
        left = [task for task in asyncio.all_tasks() - before if not task.done()]
        assert not left, f"the test left tasks running: {left}"

    return run


@pytest.fixture(autouse=True, scope="session")
def _no_files_of_the_owner(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Point the user's folders at an empty place: a developer's own materials or recordings must not matter."""
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_RUNTIME_DIR"):
            patch.setenv(variable, str(home))
        patch.delenv("NO_COLOR", raising=False)
        yield home


@pytest.fixture(autouse=True)
def _hang_up_as_before() -> Iterator[None]:
    """Heed SIGHUP again after a test: a watch that is over ignores it for the rest of its process."""
    before = signal.getsignal(signal.SIGHUP)
    yield
    signal.signal(signal.SIGHUP, before)


def pytest_configure(config: pytest.Config) -> None:
    """Gather every byte that the tests send to a machine."""
    config.pluginmanager.register(WholeRun(), "bytes-sent")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Wrap every asynchronous test in the check for leaked tasks."""
    for item in items:
        if isinstance(item, pytest.Function) and inspect.iscoroutinefunction(item.obj):
            item.obj = _checked(item.obj)
