"""Results that are kept for when they are asked for again, by everything that they depend on."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from typing import Generic, TypeVar

__all__ = ["Kept"]

Question = TypeVar("Question")
Answer = TypeVar("Answer")


class Kept(Generic[Question, Answer]):
    """The last answers of a function that is pure and slow; what-ifs and sweeps ask for most of them again.

    Parameters
    ----------
    inputs : Everything of a question that its answer depends on: questions alike in it have one answer
    size : Answers that are kept [1]; the one not asked for the longest goes first

    Examples
    --------
    >>> squares = Kept[float, float](inputs=abs, size=2)
    >>> squares.answers([3.0, -3.0], lambda asked: [one * one for one in asked])
    [9.0, 9.0]
    """

    def __init__(self, *, inputs: Callable[[Question], Hashable], size: int) -> None:
        self._inputs, self._size = inputs, size
        self._found: OrderedDict[Hashable, Answer] = OrderedDict()
        self._lock = threading.Lock()

    def answers(
        self, questions: Sequence[Question], find: Callable[[list[Question]], Sequence[Answer]]
    ) -> list[Answer]:
        """Answer questions in their order.

        Parameters
        ----------
        find : Answers those questions, each once, whose answer is not kept
        """
        asked = [self._inputs(question) for question in questions]
        with self._lock:
            known = {inputs: self._found[inputs] for inputs in asked if inputs in self._found}
        new: dict[Hashable, Question] = {}
        for inputs, one in zip(asked, questions, strict=True):
            if inputs not in known:
                new.setdefault(inputs, one)
        if new:
            known.update(zip(new, find(list(new.values())), strict=True))
        with self._lock:
            for inputs in asked:
                self._found[inputs] = known[inputs]
                self._found.move_to_end(inputs)
            while len(self._found) > self._size:
                self._found.popitem(last=False)
        return [known[inputs] for inputs in asked]
