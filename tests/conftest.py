"""Shared by all tests: a test that leaves an asynchronous task behind fails."""

import asyncio
import functools
import inspect
from collections.abc import Awaitable, Callable
from typing import Any

import pytest


def _checked(test: Callable[..., Awaitable[None]]) -> Callable[..., Awaitable[None]]:
    @functools.wraps(test)
    async def run(*args: Any, **kwargs: Any) -> None:  # noqa: ANN401 -- passes any test's arguments through
        before = asyncio.all_tasks()
        await test(*args, **kwargs)
        left = [task for task in asyncio.all_tasks() - before if not task.done()]
        assert not left, f"the test left tasks running: {left}"

    return run


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Wrap every asynchronous test in the check for leaked tasks."""
    for item in items:
        if isinstance(item, pytest.Function) and inspect.iscoroutinefunction(item.obj):
            item.obj = _checked(item.obj)
