"""Scalar arithmetic written down instead of done: the operations of a formula, each once, as straight-line source."""

from __future__ import annotations


class Term:
    """One value on a tape: an input, or the result of one operation.  Arithmetic with it extends the tape."""

    __slots__ = ("name", "tape")

    def __init__(self, tape: Tape, name: str):
        self.tape, self.name = tape, name

    def __add__(self, other):
        return self.tape.operation("+", self, other)

    def __radd__(self, other):
        return self.tape.operation("+", other, self)

    def __sub__(self, other):
        return self.tape.operation("-", self, other)

    def __rsub__(self, other):
        return self.tape.operation("-", other, self)

    def __mul__(self, other):
        return self.tape.operation("*", self, other)

    def __rmul__(self, other):
        return self.tape.operation("*", other, self)

    def __neg__(self):
        return self.tape.operation("*", -1.0, self)


class Tape:
    """Records operations; equal operations are recorded once, and products with 0 and 1 not at all."""

    def __init__(self):
        self.lines: list[tuple[str, str, str, str]] = []
        self._known: dict[tuple[str, str, str], Term] = {}

    def inputs(self, *names: str) -> list[Term]:
        """Terms that stand for the arguments of the formula."""
        return [Term(self, name) for name in names]

    def operation(self, sign: str, a, b):
        """a + b, a - b or a * b, where either may be a plain number."""
        if not isinstance(a, Term) and not isinstance(b, Term):
            return {"+": a + b, "-": a - b, "*": a * b}[sign]
        if sign == "*":
            if _is(a, 0.0) or _is(b, 0.0):
                return 0.0
            if _is(a, 1.0):
                return b
            if _is(b, 1.0):
                return a
        elif _is(b, 0.0):
            return a
        elif _is(a, 0.0):
            return b if sign == "+" else -b
        left, right = _text(a), _text(b)
        if sign != "-" and left > right:
            left, right = right, left
        key = (sign, left, right)
        if key not in self._known:
            name = f"t{len(self.lines)}"
            self.lines.append((name, *key))
            self._known[key] = Term(self, name)
        return self._known[key]

    def source(self, name: str, arguments: str, prologue: list[str], results: list) -> str:
        """A function that computes `results`; operations that no result needs are left out."""
        wanted = {r.name for r in results if isinstance(r, Term)}
        kept = []
        for line in reversed(self.lines):
            if line[0] in wanted:
                wanted.update((line[2], line[3]))
                kept.append(line)
        body = [f"    {p}" for p in prologue if p.split(" = ")[0] in wanted]
        for target, sign, a, b in reversed(kept):
            body.append(f"    {target} = -{b}" if sign == "*" and a == "-1.0" else f"    {target} = {a} {sign} {b}")
        return f"def {name}({arguments}):\n" + "\n".join(body) + f"\n    return {', '.join(map(_text, results))}\n"


def _is(value, number: float) -> bool:
    return not isinstance(value, Term) and value == number


def _text(value) -> str:
    return value.name if isinstance(value, Term) else repr(float(value))
