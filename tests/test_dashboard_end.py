"""The dashboard ends though a cancellation is swallowed on the way."""

import asyncio

from ui.server import _ended


def test_a_task_that_swallows_cancellations_still_ends():
    """As `asyncio.wait_for` of Python 3.11 does where the awaited thing is just done."""
    swallowed = []

    async def stubborn():
        while len(swallowed) < 3:
            try:
                await asyncio.sleep(60.0)
            except asyncio.CancelledError:
                swallowed.append(1)
        await asyncio.sleep(60.0)

    async def run():
        task = asyncio.create_task(stubborn())
        await asyncio.sleep(0)
        await asyncio.wait_for(_ended(task), 10.0)
        return task

    task = asyncio.run(run())
    assert task.cancelled()
    assert len(swallowed) == 3
