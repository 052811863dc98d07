"""Single-operator changes of the package: which there are, and a file with one of them put in."""

from __future__ import annotations

import ast
from dataclasses import dataclass
from pathlib import Path

_BINARY = {ast.Add: ("+", "-"), ast.Sub: ("-", "+"), ast.Mult: ("*", "/"), ast.Div: ("/", "*"), ast.Pow: ("**", "*")}
_COMPARED = {ast.Lt: ("<", ">="), ast.LtE: ("<=", ">"), ast.Gt: (">", "<="), ast.GtE: (">=", "<")}
_JOINED = {ast.And: ("and", "or"), ast.Or: ("or", "and")}


@dataclass(frozen=True)
class Mutant:
    """One operator of a file, by its place in the text, and what stands there instead."""

    path: str
    line: int
    begin: int
    old: str
    new: str

    def put_into(self, root: Path) -> None:
        """Write the changed file."""
        file = root / self.path
        text = file.read_text()
        assert text[self.begin : self.begin + len(self.old)] == self.old
        file.write_text(text[: self.begin] + self.new + text[self.begin + len(self.old) :])

    def __str__(self) -> str:
        return f"{self.path}:{self.line} {self.old} -> {self.new or 'nothing'}"


def mutants_of(root: Path, path: str) -> list[Mutant]:
    """All single-operator changes of one file but those in what is raised or said, and in annotations."""
    text = (root / path).read_text()
    offsets = [0]
    for line in text.splitlines(keepends=True):
        offsets.append(offsets[-1] + len(line))
    if not text.isascii():  # ast counts bytes
        return []
    tree = ast.parse(text)
    left_out = {id(inner) for node in ast.walk(tree) for part in _left_out(node) for inner in ast.walk(part)}
    found = []
    for node in ast.walk(tree):
        if id(node) in left_out:
            continue
        for left, right, old, new in _operators(node):
            begin, end = offsets[left[0] - 1] + left[1], offsets[right[0] - 1] + right[1]
            place = text.find(old, begin, end)
            if place >= 0:
                found.append(Mutant(path, text.count("\n", 0, place) + 1, place, old, new))
    return found


def _operators(node: ast.AST):
    """Where the text between two operands begins and ends, the operator in it, and its opposite."""
    if isinstance(node, ast.BinOp) and type(node.op) in _BINARY and not _is_text(node):
        yield (*_between(node.left, node.right), *_BINARY[type(node.op)])
    elif isinstance(node, ast.Compare) and len(node.ops) == 1 and type(node.ops[0]) in _COMPARED:
        yield (*_between(node.left, node.comparators[0]), *_COMPARED[type(node.ops[0])])
    elif isinstance(node, ast.BoolOp):
        yield (*_between(*node.values[:2]), *_JOINED[type(node.op)])
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        if not isinstance(node.operand, ast.Constant) or isinstance(node.operand.value, float):
            yield (node.lineno, node.col_offset), _start(node.operand), "-", ""


def _between(left: ast.AST, right: ast.AST) -> tuple[tuple[int, int], tuple[int, int]]:
    return (left.end_lineno, left.end_col_offset), _start(right)


def _start(node: ast.AST) -> tuple[int, int]:
    return node.lineno, node.col_offset


def _is_text(node: ast.BinOp) -> bool:
    sides = (node.left, node.right)
    return any(
        isinstance(x, ast.JoinedStr) or (isinstance(x, ast.Constant) and isinstance(x.value, str)) for x in sides
    )


def _left_out(node: ast.AST) -> list[ast.AST]:
    """What is raised or said, and annotations (there `|` alone stands, but defaults of keys are operators)."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Assert):
        return [node]
    kept = [getattr(node, "annotation", None), getattr(node, "returns", None)]
    return [part for part in kept if part is not None]
