"""The guard of `conftest` itself."""

import asyncio

import pytest

from tests.conftest import _checked


async def test_a_task_left_running_fails_the_test() -> None:
    """A test body that returns while its task still waits is reported."""
    left: list[asyncio.Task[None]] = []

    async def careless() -> None:
        left.append(asyncio.create_task(asyncio.Event().wait()))  # type: ignore[arg-type]  # only its life matters

    with pytest.raises(AssertionError, match="left tasks running"):
        await _checked(careless)()
    left[0].cancel()
    await asyncio.gather(*left, return_exceptions=True)
