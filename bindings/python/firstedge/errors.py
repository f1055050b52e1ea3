"""The one exception of the package."""


class Error(ValueError):
    """Input that cannot be used, told in one sentence: '<place>: <problem>; <remedy>'.

    The parts stand in place, problem and remedy. A pulse that cannot be timed is no error but a flag on its stamp.
    """

    __module__ = "firstedge"

    def __init__(self, place: str, problem: str, remedy: str, sentence: str = "") -> None:
        sentence = sentence or f"{place}: {problem}; {remedy}"
        super().__init__(place, problem, remedy, sentence)
        self.place, self.problem, self.remedy, self._sentence = place, problem, remedy, sentence

    def __str__(self) -> str:
        return self._sentence
