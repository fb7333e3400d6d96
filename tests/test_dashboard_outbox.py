"""What waits for a page: the newest of each kind, pictures only as fast as they are drawn."""

import asyncio

import pytest

from ui.live.outbox import MOST_PICTURES_UNDER_WAY, Outbox, Parcel


async def soon(box):
    return await asyncio.wait_for(box.take(), 0.5)


def test_the_newest_of_a_topic_wins():
    async def story():
        box = Outbox()
        for i in range(100):
            box.put("reading", Parcel(str(i)))
        box.put("state", Parcel("state"))
        return [(await soon(box)).text, (await soon(box)).text]

    assert sorted(asyncio.run(story())) == ["99", "state"]


def test_pictures_wait_for_the_page_to_draw_them():
    async def story():
        box = Outbox()
        for i in range(MOST_PICTURES_UNDER_WAY):
            box.put("preview", Parcel(f"sent {i}", b"jpeg"))
            assert (await soon(box)).picture == b"jpeg"
        for i in range(10):
            box.put("preview", Parcel(str(i), b"jpeg"))
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(box.take(), 0.05)
        box.put("reading", Parcel("numbers go on"))
        assert (await soon(box)).text == "numbers go on"
        box.picture_seen()
        return (await soon(box)).text

    assert asyncio.run(story()) == "9"


def test_answers_are_all_kept_in_order_and_come_first():
    async def story():
        box = Outbox()
        box.put("state", Parcel("state"))
        for i in range(5):
            box.put_answer(Parcel(str(i)))
        return [(await soon(box)).text for _ in range(6)]

    assert asyncio.run(story()) == ["0", "1", "2", "3", "4", "state"]


def test_a_page_that_claims_to_have_seen_more_gets_no_flood():
    async def story():
        box = Outbox()
        for _ in range(50):
            box.picture_seen()
        for _ in range(MOST_PICTURES_UNDER_WAY):
            box.put("preview", Parcel("", b"jpeg"))
            await soon(box)
        box.put("preview", Parcel("", b"jpeg"))
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(box.take(), 0.05)

    asyncio.run(story())
