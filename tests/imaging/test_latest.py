"""What was worked out of the last array is kept for it alone, and no longer than it is in use."""

from weakref import ref

import numpy as np

from autoprep.imaging.arrays import Float32
from autoprep.imaging.latest import Latest


def test_what_was_worked_out_of_the_same_array_is_kept() -> None:
    asked: list[float] = []

    def total(array: Float32) -> float:
        asked.append(float(array.sum()))
        return asked[-1]

    act, one, other = Latest(total), np.ones(3, np.float32), np.full(3, 2, np.float32)
    assert [act(array) for array in (one, one, other, one)] == [3, 3, 6, 3]
    assert asked == [3, 6, 3]


def test_an_array_that_is_equal_is_another_one() -> None:
    act = Latest(lambda array: array.copy())
    one, same = np.ones(3, np.float32), np.ones(3, np.float32)
    assert act(one) is act(one)
    assert act(one) is not act(same)


def test_nothing_is_kept_of_an_array_that_is_gone() -> None:
    act, one = Latest(lambda array: array * 2), np.ones(3, np.float32)
    found = ref(act(one))
    assert found() is not None
    del one
    assert found() is None


def test_what_is_let_go_is_worked_out_again() -> None:
    act, one = Latest(lambda array: array * 2), np.ones(3, np.float32)
    found = ref(act(one))
    act.let_go()
    assert found() is None
    assert act(one).tolist() == [2, 2, 2]
