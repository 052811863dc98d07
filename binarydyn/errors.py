"""What a user may catch: every error says what was given, what is allowed and what to do, in one sentence."""


class BinarydynError(Exception):
    """Base of all errors that the package raises on purpose."""


class InputError(BinarydynError, ValueError):
    """Something given is wrong: `place` (file:table.key, or a file) and the sentence that says what to do about it."""

    def __init__(self, place: str, sentence: str):
        self.place, self.sentence = str(place), sentence
        super().__init__(f"{self.place}: {sentence}")

    @property
    def at_the_command_line(self) -> str:
        """The same sentence for somebody who typed a command."""
        return str(self)


class ArgumentError(InputError):
    """An argument of a function is wrong, which is an option at the command line: `count` is `--count` there.

    given: what of several the argument is about, as it is to be shown.
    """

    def __init__(self, argument: str, sentence: str, given: str = ""):
        self.argument = argument
        super().__init__(f"{argument} {given}".rstrip(), sentence)

    @property
    def at_the_command_line(self) -> str:
        """With the option in place of the argument."""
        return f"--{self.place.replace('_', '-', self.argument.count('_'))}: {self.sentence}"


class KindError(InputError, TypeError):
    """A thing of another kind than a function takes; the sentence says which it takes and how to get one."""


_HOW_TO_GET = {
    ("Scenario", "str"): "load(path) reads one",
    ("Scenario", "PosixPath"): "load(path) reads one",
    ("Scenario", "dict"): "Scenario.from_dict(data) makes one",
    ("Scenario", "Result"): "take its .scenario",
    ("Scenario", "Prediction"): "take its .scenario",
    ("System", "Scenario"): "build(scenario) makes one",
    ("System", "Start"): "take its .system",
    ("System", "Prediction"): "take its .start.system",
    ("System", "Impact"): "take impact.system.at(impact.state)",
    ("System", "tuple"): "take the first of the two that apply_impact returns",
    ("State", "System"): "take its .state",
    ("State", "ndarray"): "State.from_vector(values) makes one of 20 numbers",
    ("Trajectory", "System"): "simulate(system, days) makes one",
    ("Trajectory", "Side"): "take its .trajectory",
    ("Trajectory", "Prediction"): "take its .before.trajectory or .after.trajectory",
    ("Trajectory", "Result"): "take its .before or .after",
}
"""By what is wanted and what is given: how to get the one from the other."""


def check_kind(place: str, given: object, *kinds: type) -> None:
    """KindError where what is given to `place`, a function or one of its arguments, is of none of the kinds."""
    if isinstance(given, kinds):
        return
    how = _HOW_TO_GET.get((kinds[0].__name__, type(given).__name__), "give one")
    allowed = " or ".join(dict.fromkeys(_called(kind) for kind in kinds))
    raise KindError(place, f"{'None' if given is None else _called(type(given))} is given, allowed is {allowed}; {how}")


_WORDS = {
    "str": "a text",
    "int": "a whole number",
    "integer": "a whole number",
    "float": "a number",
    "Real": "a number",
    "bool": "true or false",
    "dict": "a dictionary",
    "Mapping": "a dictionary",
    "ndarray": "an array",
    "PosixPath": "a path",
    "PathLike": "a path",
    "function": "a function",
}


def _called(kind: type) -> str:
    """What a sentence calls a kind."""
    name = kind.__name__
    return _WORDS.get(name, f"{'an' if name[0] in 'AEIOUaeiou' else 'a'} {name}")


class ShapeError(InputError):
    """A surface mesh that does not enclose one solid body; the sentence names the edge or the face."""


class ConvergenceError(BinarydynError):
    """A search ended without an answer; `residual` says how far off it was, `steps` after how many steps.

    Without the two it is no search by steps: simulations ended so that nothing follows from them.
    """

    def __init__(self, sentence: str, residual: float = float("nan"), steps: int = 0):
        self.residual, self.steps = float(residual), int(steps)
        told = "" if self.residual != self.residual else f" (residual {self.residual:.3g} after {self.steps} steps)"
        super().__init__(sentence + told)


class FewCyclesError(BinarydynError):
    """A period asked of a window with too few cycles.

    `value_h` is what came out all the same, `cycles` how many there were.
    """

    def __init__(self, method: str, cycles: float, needed: float, value_h: float):
        self.method, self.cycles, self.needed, self.value_h = method, float(cycles), float(needed), float(value_h)
        super().__init__(
            f"{method}: {self.cycles:.2f} cycles in the window, at least {needed:g} are needed for a period "
            f"(the unreliable value is {self.value_h:.6f} h); use a longer window"
        )


class WorkersLostError(BinarydynError):
    """Nobody is left to compute what was asked for; what was done before is kept, and the same command resumes."""
