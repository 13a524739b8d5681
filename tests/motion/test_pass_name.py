"""Which files are run, and how long that takes, where the skim stops as planned."""

from corepath.motion.pass_name import is_run, minutes_to_stop


def test_minutes_to_the_stop_count_no_pass_below_it_and_none_twice() -> None:
    """Overview and report each had a rule of their own: 10 + 1 + 2 + 20 to the second pass."""
    minutes = {
        "03-A-groove": 10.0,
        "05-B-skim-all": 7.0,
        "05-B-skim-pass-1": 1.0,
        "05-B-skim-pass-2": 2.0,
        "05-B-skim-pass-3": 4.0,
        "08-C-deck-2": 20.0,
    }
    assert minutes_to_stop(minutes, 2) == 33.0
    assert is_run("08-C-deck-2", 1) and not is_run("05-B-skim-pass-10", 9)
