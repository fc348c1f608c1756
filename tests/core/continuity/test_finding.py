import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fairhearing.core.continuity.finding import (
    LOOK_STRENGTH,
    Channel,
    Finding,
    clock,
    ranked,
    summary,
)


def finding(channel=Channel.SOUND, strength=0.8, start_s=1.0):
    return Finding(channel, start_s, start_s + 1.0, strength, "Something to look at.")


def test_no_findings_is_nothing_unusual():
    assert summary([]) == "nothing unusual"


def test_weak_findings_send_nobody_to_look():
    weak = LOOK_STRENGTH / 2
    assert summary([finding(strength=weak), finding(Channel.ORIGIN, weak)]) == "nothing unusual"


def test_origin_alone_asks_for_the_original_and_a_place_goes_first():
    origin = finding(Channel.ORIGIN)
    assert summary([origin]) == "ask for the original"
    assert summary([origin, finding(Channel.PICTURE_AND_SOUND)]) == "look here"


@given(
    st.lists(
        st.builds(finding, st.sampled_from(Channel), st.floats(0, 1), st.floats(0, 300)), max_size=9
    )
)
def test_ranking_loses_nothing_and_does_not_depend_on_the_order(findings):
    once = ranked(findings)
    assert sorted(map(repr, once)) == sorted(map(repr, findings))
    assert [f.to_report() for f in ranked(reversed(findings))] == [f.to_report() for f in once]
    strong = [f.strength >= LOOK_STRENGTH for f in once]
    assert strong == sorted(strong, reverse=True)


@pytest.mark.parametrize(
    "wrong",
    [
        {"channel": "mood"},
        {"end_s": 0.0},
        {"start_s": math.nan},
        {"strength": 1.01},
        {"strength": -0.1},
        {"says": " "},
    ],
)
def test_what_no_channel_may_hand_over_is_refused(wrong):
    good = {"channel": "sound", "start_s": 1.0, "end_s": 2.0, "strength": 0.5, "says": "Look."}
    with pytest.raises(ValueError):
        Finding(**(good | wrong))


@pytest.mark.parametrize(
    ("seconds", "text"), [(134.3, "2:14.3"), (62, "1:02.0"), (59.96, "1:00.0"), (0, "0:00.0")]
)
def test_clock(seconds, text):
    assert clock(seconds) == text
