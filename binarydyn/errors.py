"""What a user may catch: every error says what was given, what is allowed and what to do, in one sentence."""


class BinarydynError(Exception):
    """Base of all errors that the package raises on purpose."""


class InputError(BinarydynError, ValueError):
    """Something given is wrong: `place` (file:table.key, or a file) and the sentence that says what to do about it.

    typed: the sentence for somebody who typed a command, where that is another one.
    """

    def __init__(self, place: str, sentence: str, typed: str = ""):
        self.place, self.sentence, self.typed = str(place), " ".join(sentence.splitlines()), typed
        super().__init__(f"{self.place}: {self.sentence}")

    @property
    def at_the_command_line(self) -> str:
        """What somebody reads who typed a command."""
        return f"{self.place}: {self.typed or self.sentence}"


class ArgumentError(InputError):
    """An argument of a function is wrong, which is an option at the command line: `count` is `--count` there.

    given: what of several the argument is about, as it is to be shown.
    """

    def __init__(self, argument: str, sentence: str, given: str = "", typed: str = ""):
        self.argument = argument
        super().__init__(f"{argument} {given}".rstrip(), sentence, typed)

    @property
    def at_the_command_line(self) -> str:
        """With the option in place of the argument."""
        return f"--{self.argument.replace('_', '-')}{self.place[len(self.argument) :]}: {self.typed or self.sentence}"


class KindError(InputError, TypeError):
    """A thing of another kind than a function takes; the sentence says which it takes and how to get one."""


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
