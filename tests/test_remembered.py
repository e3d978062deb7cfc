"""What is remembered is what would be made again: the key is the content, and nothing but the content."""

from __future__ import annotations

import threading

import pandas as pd

from pipeline.remembered import remembered


def counting(most: int):
    made: list[int] = []

    @remembered(most)
    def total(frame: pd.DataFrame, times: int = 1) -> int:
        made.append(len(frame))
        return int(frame["grams"].sum()) * times

    return total, made


def test_the_same_content_is_made_once_and_any_other_again():
    total, made = counting(most=3)
    frame = pd.DataFrame({"grams": [1, 2]})
    assert total(frame) == total(frame.copy()) == 3 and len(made) == 1
    frame.loc[0, "grams"] = 5
    assert total(frame) == 7 and total(frame, times=2) == 14 and len(made) == 3


def test_only_the_last_are_kept():
    total, made = counting(most=2)
    frames = [pd.DataFrame({"grams": [number]}) for number in range(3)]
    for frame in (*frames, frames[2], frames[1], frames[0]):
        total(frame)
    assert len(made) == 4  # three, and the first again


def test_a_failure_is_not_kept():
    calls = []

    @remembered(most=2)
    def once(number: int) -> int:
        calls.append(number)
        if len(calls) == 1:
            raise ValueError("planted")
        return number

    try:
        once(1)
    except ValueError:
        pass
    assert once(1) == 1 and calls == [1, 1]


def test_two_threads_that_ask_at_once_make_it_once():
    total, made = counting(most=2)
    frame = pd.DataFrame({"grams": range(1000)})
    threads = [threading.Thread(target=total, args=(frame,)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 1
