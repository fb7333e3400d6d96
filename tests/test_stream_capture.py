"""Hands-free capture: stillness, trend, turns begun and ended by themselves."""

from math import pi

import numpy as np
import pytest
from stream_kit import DEG, DIAL, Hand

from setups import Still, Turned, Void
from stream.capture import Capture
from stream.turning import Began, Dropped, Taken


@pytest.fixture
def capture():
    return Capture(DIAL)


@pytest.fixture
def hand(capture):
    return Hand(lambda reading, collar: capture.look(reading, collar, reading.t_s))


def of(kind, happened):
    return [one for one in happened if isinstance(one, kind)]


def samples_of(happened):
    return [sample for taken in of(Taken, happened) for sample in taken.samples]


# stillness


def test_a_still_needle_is_told_once(capture, hand):
    capture.enter("turns")
    hand.rest(5.0)
    (still,) = of(Still, hand.take())
    assert still.value_mm == pytest.approx(hand.value_mm(), abs=5e-5)
    assert still.collar_rad == pytest.approx(20 * DEG, abs=0.02 * DEG)
    assert not still.moved
    assert still.at_s == pytest.approx(10.7, abs=0.1)


def test_a_waiting_step_is_told_again_every_second(capture, hand):
    capture.enter("moves")
    hand.rest(5.0)
    times = [still.at_s for still in of(Still, hand.take())]
    assert len(times) == 5
    assert np.diff(times) == pytest.approx(1.0, abs=0.05)


def test_a_crept_needle_is_told_again_and_a_moving_one_is_not(capture, hand):
    capture.enter("turns")
    hand.rest(1.5, value_mm=0.1)
    hand.rest(1.5, value_mm=0.1008)
    first, second = of(Still, hand.take())
    assert second.value_mm - first.value_mm == pytest.approx(0.0006, abs=0.0002)
    for i in range(60):
        hand.picture(value_mm=0.1 + 0.0002 * i)
    assert not of(Still, hand.take())


def test_a_refused_dial_on_a_still_collar_is_told_as_unread(capture, hand):
    capture.enter("rough")
    hand.rest(1.0, value_mm=None)
    (still, *_) = of(Still, hand.take())
    assert still.value_mm is None
    hand.rest(1.5)
    assert of(Still, hand.take())[-1].value_mm is not None


def test_nothing_is_still_without_the_collar(capture, hand):
    capture.enter("rough")
    hand.rest(3.0, seen=False)
    assert not of(Still, hand.take())


def test_pointing_needs_a_move_or_the_persons_word(capture, hand):
    capture.enter("point")
    hand.rest(2.0)
    assert [s.moved for s in of(Still, hand.take())] == [False]
    capture.claim()
    hand.rest(0.2)
    assert [s.moved for s in of(Still, hand.take())] == [True]
    capture.enter("point")
    hand.turn(70, 2.0)
    hand.rest(1.0)  # a hand that grips anew
    assert not of(Still, hand.take())
    hand.turn(20, 1.0)
    hand.rest(1.4)
    (still,) = of(Still, hand.take())
    assert still.moved
    assert still.collar_rad == pytest.approx(110 * DEG, abs=0.1 * DEG)


def test_the_trend_is_the_last_motion_of_the_needle(capture, hand):
    capture.enter("moves")
    for end, trend in ((0.12, "rising"), (0.10, "falling"), (0.103, "rising")):
        start = 0.10 if trend == "rising" else 0.12
        for value in np.linspace(start, end, 30):
            hand.picture(value_mm=value)
        hand.rest(0.8, value_mm=end)
        assert {still.trend for still in of(Still, hand.take())} == {trend}


def test_noise_is_no_trend(capture, hand):
    capture.enter("moves")
    hand.rest(20.0, value_mm=0.1)
    assert {still.trend for still in of(Still, hand.take())} == {None}


# turns


def test_a_turn_each_way_begins_and_ends_by_itself(capture, hand):
    capture.enter("turns")
    hand.rest(1.0)
    hand.turn(385, 20.0)
    first = hand.take()
    assert [b.sense for b in of(Began, first)] == [1]
    (turned,) = of(Turned, first)
    hand.rest(1.5)
    hand.turn(-385, 20.0)
    second = hand.take()
    assert [b.sense for b in of(Began, second)] == [-1]
    (back,) = of(Turned, second)
    for sweep in (turned.sweep, back.sweep):
        covered = abs(sweep.angle_rad[-1] - sweep.angle_rad[0]) / DEG
        assert 372 <= covered < 373.5
        assert sweep.refused == 0
        truth = 0.1 * np.cos(sweep.angle_rad)
        assert np.abs(sweep.value_mm - truth).max() < 0.0008
    assert len(samples_of(first)) == len(turned.sweep)


def test_the_last_still_sample_belongs_to_the_turn(capture, hand):
    capture.enter("turns")
    hand.rest(1.0)
    hand.turn(385, 3.0)  # 4.3 degrees a picture
    (turned,) = of(Turned, hand.take())
    assert turned.sweep.angle_rad[0] == pytest.approx(20 * DEG, abs=0.3 * DEG)


def test_every_accepted_sample_is_handed_out_as_it_comes(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(200, 10.0)
    happened = hand.take()
    assert not of(Turned, happened)
    assert len(samples_of(happened)) == pytest.approx(300, abs=4)
    assert capture.pose().samples == len(samples_of(happened))
    assert capture.pose().turned_rad == pytest.approx(200 * DEG, abs=DEG)


def test_refused_pictures_are_counted_and_give_no_sample(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(100, 5.0)
    hand.turn(40, 2.0, value_mm=None)
    hand.turn(10, 0.5, seen=False)
    hand.turn(240, 12.0)
    (turned,) = of(Turned, hand.take())
    assert turned.sweep.refused == 60 + 15
    gap = (turned.sweep.angle_rad / DEG > 122) & (turned.sweep.angle_rad / DEG < 168)
    assert not gap.any()


def test_turning_on_the_same_way_begins_nothing(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(800, 30.0)
    assert len(of(Turned, hand.take())) == 1
    hand.turn(-380, 20.0)
    assert len(of(Turned, hand.take())) == 1


def test_turning_back_early_gives_the_turn_up_and_begins_the_other(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(300, 15.0)
    hand.take()
    hand.turn(-380, 20.0)
    happened = hand.take()
    assert [type(one) for one in happened if not isinstance(one, Taken | Still)] == [
        Dropped,
        Began,
        Turned,
    ]
    sweep = of(Turned, happened)[0].sweep
    assert sweep.angle_rad[0] / DEG == pytest.approx(320, abs=1.0)
    assert np.all(np.diff(sweep.angle_rad) < 0.7 * DEG)


def test_a_hand_that_springs_back_while_gripping_does_not_spoil_the_turn(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    for _ in range(4):
        hand.turn(100, 4.0)
        hand.turn(-2, 0.3)
        hand.rest(0.5)
    happened = hand.take()
    (turned,) = of(Turned, happened)
    assert not of(Dropped, happened)
    assert np.all(np.diff(turned.sweep.angle_rad) > -0.5 * DEG)


def test_a_long_rest_does_not_outweigh_the_turn(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(180, 9.0)
    hand.rest(60.0)
    hand.turn(200, 10.0)
    (turned,) = of(Turned, hand.take())
    here = np.abs(turned.sweep.angle_rad / DEG - 200) < 0.4
    assert 2 <= here.sum() <= 40


def test_more_than_sixty_turns_a_minute_is_void_once_and_can_be_begun_again(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(60, 3.0)
    hand.turn(900, 2.0)
    voids = of(Void, hand.take())
    assert [v.flag for v in voids] == ["turning too fast"]
    hand.rest(1.0)
    hand.turn(385, 15.0)
    assert len(of(Turned, hand.take())) == 1


def test_fifty_turns_a_minute_is_allowed(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(385, 385 / 300)
    happened = hand.take()
    assert not of(Void, happened)
    assert len(of(Turned, happened)) == 1


def test_a_collar_out_of_sight_for_long_voids_the_turn(capture, hand):
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(100, 5.0)
    hand.turn(90, 4.0, seen=False)
    hand.turn(10, 0.5)
    assert [v.flag for v in of(Void, hand.take())] == ["collar not seen"]


def test_no_turn_is_caught_where_none_is_wanted(capture, hand):
    capture.enter("rough")
    hand.rest(0.5)
    hand.turn(400, 20.0)
    assert not of(Began, hand.take())
    assert capture.pose().turned_rad is None


# the needle's turns


def test_a_needle_at_the_end_of_its_travel_does_not_jump_to_the_other_end(capture, hand):
    capture.enter("rough")
    for value in np.linspace(0.3, 0.4, 30):
        hand.picture(value_mm=value)
    hand.noise_mm = 0.0005
    values = []
    for _ in range(60):
        hand.picture(value_mm=0.4)  # read as +0.4 or -0.4, as the noise has it
        values.append(capture.pose().value_mm)
    assert min(values) > 0.39


def test_a_dial_of_many_turns_is_followed_and_a_jump_voids_the_turn():
    from setups import Instrument

    dial = Instrument("plunger", 0.01, 100, (0.0, 10.0))
    capture = Capture(dial)
    hand = Hand(lambda r, c: capture.look(r, c, r.t_s))
    capture.enter("turns")
    seen = []

    def at(value):
        hand.t_s += 1 / 30
        from stream_kit import collar, reading

        happened = capture.look(
            reading(hand.t_s, value, turn_mm=1.0), collar(hand.t_s, hand.angle_deg * DEG), hand.t_s
        )
        seen.append(capture.pose().value_mm)
        return happened

    at(0.2)
    for value in np.linspace(0.2, 2.7, 100):
        hand.angle_deg += 1.0
        assert not of(Void, at(value))
    assert seen[-1] == pytest.approx(2.7, abs=0.001)
    hand.angle_deg += 1.0
    assert [v.flag for v in of(Void, at(3.12))] == ["ambiguous turn"]


def test_the_sense_in_the_event_is_the_collars_own(capture, hand):
    hand.angle_deg = 359.0
    capture.enter("turns")
    hand.rest(0.5)
    hand.turn(-400, 20.0)
    (turned,) = of(Turned, hand.take())
    assert turned.sweep.sense is None
    assert turned.sweep.angle_rad[0] > turned.sweep.angle_rad[-1]
    assert turned.sweep.angle_rad[0] - turned.sweep.angle_rad[-1] >= 2 * pi
