"""Scalar arithmetic written down instead of done: the operations of a formula, each once, as straight-line source."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping


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
        self.places: dict[str, tuple[str, int]] = {}
        """Of the inputs that stand in arrays: array and index by their names."""
        self._known: dict[tuple[str, str, str], Term] = {}

    def inputs(self, *names: str) -> list[Term]:
        """Terms that stand for the arguments of the formula."""
        return [Term(self, name) for name in names]

    def array(self, name: str, indices: Iterable[int]) -> list[Term]:
        """Terms that stand for the numbers of an array at these places: y0, y1, .. of `y`."""
        self.places |= {f"{name}{i}": (name, i) for i in indices}
        return self.inputs(*(f"{name}{i}" for i in indices))

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
        left, right = text_of(a), text_of(b)
        if sign != "-" and left > right:
            left, right = right, left
        return self._new((sign, left, right))

    def inverse_root(self, a: Term) -> Term:
        """1 / sqrt(a), the one operation of a right-hand side that is not a sum or a product."""
        return self._new(("1/sqrt", a.name, ""))

    def reciprocal(self, a: Term) -> Term:
        """1 / a."""
        return self._new(("1/", a.name, ""))

    def smaller(self, a: Term, b: Term) -> Term:
        """The smaller of two, b where either is not a number."""
        return self._new(("min", a.name, b.name))

    def larger(self, a: Term, b: Term) -> Term:
        """The larger of two, b where either is not a number."""
        return self._new(("max", a.name, b.name))

    def _new(self, key: tuple[str, str, str]) -> Term:
        if key not in self._known:
            name = f"t{len(self.lines)}"
            self.lines.append((name, *key))
            self._known[key] = Term(self, name)
        return self._known[key]

    def body(self, results: list, where: Mapping[str, Callable[[int], str]]) -> list[str]:
        """The lines that read what is needed of the arrays that `where` knows, and those that compute `results`.

        Operations that no result needs are left out.  A product that only one sum needs becomes part of a fused
        multiply-add.
        """
        wanted = {r.name for r in results if isinstance(r, Term)}
        kept, uses = [], Counter(wanted)
        for line in reversed(self.lines):
            if line[0] in wanted:
                wanted.update(line[2:])
                uses.update(line[2:])
                kept.append(line)
        products = {name: (a, b) for name, sign, a, b in kept if sign == "*" and uses[name] == 1}
        lines: list[tuple[str, str]] = []
        fused: set[str] = set()
        for line in reversed(kept):
            text, used = _written(line, products)
            lines.append((line[0], text))
            fused.update(used)
        places = [(name, *at) for name, at in self.places.items() if name in wanted]
        reads = [f"{name} = {where[array](i)}" for name, array, i in places if array in where]
        return reads + [text for name, text in lines if name not in fused]

    def source(self, name: str, arguments: str, results: list) -> str:
        """A function that returns `results`; arrays are among its arguments."""
        where = {array: f"{array}[{{}}]".format for array, _ in self.places.values()}
        lines = [*self.body(results, where), f"return {', '.join(map(text_of, results))}"]
        return f"def {name}({arguments}):\n" + "".join(f"    {line}\n" for line in lines)


def _written(line: tuple[str, str, str, str], products: dict[str, tuple[str, str]]) -> tuple[str, tuple[str, ...]]:
    """One operation as text, and the products that it took into itself."""
    target, sign, a, b = line
    if sign == "1/sqrt":
        return f"{target} = 1.0 / math.sqrt({a})", ()
    if sign == "1/":
        return f"{target} = 1.0 / {a}", ()
    if sign in ("min", "max"):
        return f"{target} = {a} if {a} {'<' if sign == 'min' else '>'} {b} else {b}", ()
    if sign == "*":
        return f"{target} = -{b}" if a == "-1.0" else f"{target} = {a} * {b}", ()
    if b in products and a != b:
        x, y = products[b]
        return f"{target} = fma({x if sign == '+' else _negative(x)}, {y}, {a})", (b,)
    if a in products and a != b:
        x, y = products[a]
        return f"{target} = fma({x}, {y}, {b if sign == '+' else _negative(b)})", (a,)
    return f"{target} = {a} {sign} {b}", ()


def _negative(text: str) -> str:
    return text[1:] if text.startswith("-") else f"-{text}"


def _is(value, number: float) -> bool:
    return not isinstance(value, Term) and value == number


def text_of(value) -> str:
    """A term or a number as source."""
    return value.name if isinstance(value, Term) else repr(float(value))
