import itertools

import pytest

from fairhearing.core.quality.advice import MOST, TEXTS, advice_keys, advice_texts

FINE = {
    "has_sound": True,
    "loudness_lufs": -23.0,
    "clipped_ms": 0.0,
    "snr_db": 45.0,
    "brightness": 0.5,
    "upright": True,
    "shake_percent": 0.05,
    "somebody_share": 0.9,
    "background_kind": "steady noise",
    "echo_s": 0.4,
    "gain_pumping_db": 1.0,
    "gated_a_minute": 0.0,
}
WRONG = {
    "no_sound": {"has_sound": False},
    "clipped": {"clipped_ms": 400.0},
    "too_quiet": {"loudness_lufs": -55.0},
    "noisy": {"snr_db": 8.0},
    "hum": {"snr_db": 8.0, "background_kind": "hum"},
    "steady_noise": {"snr_db": 8.0, "background_kind": "steady noise"},
    "voices": {"snr_db": 30.0, "background_kind": "voices"},
    "music_behind": {"snr_db": 30.0, "background_kind": "music"},
    "gated": {"gated_a_minute": 20.0},
    "pumping": {"gain_pumping_db": 12.0},
    "echo": {"echo_s": 2.0},
    "nobody": {"somebody_share": 0.0},
    "sideways": {"upright": False},
    "dark": {"brightness": 0.02},
    "shaky": {"shake_percent": 2.0},
}


def test_a_good_take_gets_no_advice():
    assert advice_keys(**FINE) == ()


@pytest.mark.parametrize(("key", "wrong"), WRONG.items())
def test_each_fault_has_its_advice(key, wrong):
    assert advice_keys(**(FINE | {"background_kind": None} | wrong)) == (key,)


def test_what_was_not_measured_leads_to_no_advice():
    assert advice_keys(**dict.fromkeys(FINE, None) | {"has_sound": True}) == ()


def test_at_most_three_and_the_most_useful_first():
    order = list(TEXTS)
    independent = ["clipped", "too_quiet", "gated", "pumping", "echo", "nobody", "dark", "shaky"]
    for faults in itertools.combinations(independent, 4):
        keys = advice_keys(**FINE | {k: v for fault in faults for k, v in WRONG[fault].items()})
        assert len(keys) == MOST
        assert list(keys) == sorted(keys, key=order.index)


def test_every_advice_has_both_languages_and_they_differ():
    assert set(TEXTS) == set(WRONG)
    for texts in TEXTS.values():
        assert set(texts) == {"en", "es"}
        assert texts["en"] != texts["es"]
    assert advice_texts(("dark",), "es")[0].startswith("La imagen")
    with pytest.raises(ValueError, match="there is no advice"):
        advice_texts(("dark",), "xx")
