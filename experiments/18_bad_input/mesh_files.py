"""Meshes with something wrong in them, in every format: `check` and `describe` of a system that names one."""

from __future__ import annotations

import random
import struct
import sys
from pathlib import Path

import numpy as np
import scenarios
import values

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))
from meshes import ellipsoid_mesh


def broken(chance: random.Random, points: np.ndarray, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """One or two things of a mesh are changed."""
    points, facets = points.copy(), facets.copy()
    for _ in range(chance.choice((1, 1, 2))):
        k, f, kind = chance.randrange(len(points)), chance.randrange(len(facets)), chance.randrange(11)
        if kind == 0:
            points[k] *= -1.0
        elif kind == 1:
            points[k] *= chance.choice((0.0, 1e-9, 0.5, 3.0, 1e6, 1e300))
        elif kind == 2:
            points[k, chance.randrange(3)] = chance.choice((np.nan, np.inf, -np.inf, 1e308, 5e-324))
        elif kind == 3:
            facets[f] = facets[f][::-1]
        elif kind == 4:
            facets = np.delete(facets, f, axis=0)
        elif kind == 5:
            facets = np.concatenate([facets, facets[f : f + 1]])
        elif kind == 6:
            facets[f, chance.randrange(3)] = chance.choice((-1, len(points), len(points) + 7, 2**31, facets[f, 0]))
        elif kind == 7:
            points *= chance.choice((1e-9, 1e-3, 1e3, 1e9, 1e150, 0.0, -1.0))
        elif kind == 8:
            points = points + chance.choice((1e3, 1e9, 1e200))
        elif kind == 9:
            points[:, chance.randrange(3)] *= chance.choice((0.0, 1e-6, 1e3))
        else:
            points[k] = points[chance.randrange(len(points))]
    return points, facets


def obj(points: np.ndarray, facets: np.ndarray, chance: random.Random) -> bytes:
    """As OBJ, with what others write into such files."""
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in points.tolist()]
    form = chance.choice(("f {} {} {}", "f {}/1 {}/2 {}/3", "f {}//1 {}//2 {}//3"))
    lines += [form.format(*(i + 1 for i in facet)) for facet in facets.tolist()]
    for _ in range(chance.choice((0, 0, 1, 3))):
        odd = (
            "o x",
            "vt 1",
            "v 1 2",
            "v a b c",
            "f 1 2",
            "f 0 1 2",
            "f -1 -2 -3",
            "f 1 2 99999999999999999999",
            "\x1b[31m",
            "f " + "1 " * 2000,
            "v " + "9" * 400 + " 1 1",
            "v 1e999 0 0",
            "f 1.5 2 3",
            "#" * 5000,
        )
        lines.insert(chance.randrange(len(lines)), chance.choice(odd))
    return "\n".join(lines).encode()


def stl(points: np.ndarray, facets: np.ndarray, chance: random.Random) -> bytes:
    """As STL, text or binary, the count of the latter perhaps wrong."""
    with np.errstate(all="ignore"):
        corners = points[np.clip(facets, 0, len(points) - 1)].astype("<f4")
    if chance.random() < 0.5:
        lines = ["solid x"]
        for one in corners.tolist():
            lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {x!r} {y!r} {z!r}" for x, y, z in one)]
            lines += ["endloop", "endfacet"]
        return "\n".join([*lines, "endsolid x"]).encode()
    count = len(facets) if chance.random() < 0.8 else chance.choice((0, 1, len(facets) + 1, 2**32 - 1, 10**9))
    body = b"".join(bytes(12) + one.tobytes() + bytes(2) for one in corners)
    return b"binary".ljust(80) + struct.pack("<I", count) + body


def ply(points: np.ndarray, facets: np.ndarray, chance: random.Random) -> bytes:
    """As PLY, text or binary, the counts perhaps wrong."""
    counts = [len(points), len(facets)]
    if chance.random() < 0.2:
        counts[chance.randrange(2)] = chance.choice((0, 1, 10**12, 2**63, -1))
    form = chance.choice(("ascii", "binary_little_endian"))
    head = (
        f"ply\nformat {form} 1.0\nelement vertex {counts[0]}\nproperty double x\nproperty double y\nproperty double z\n"
    )
    head += f"element face {counts[1]}\nproperty list uchar int vertex_indices\nend_header\n"
    if form == "ascii":
        lines = [" ".join(map(repr, point)) for point in points.tolist()]
        lines += [f"3 {a} {b} {c}" for a, b, c in facets.tolist()]
        return (head + "\n".join(lines) + "\n").encode()
    body = b"".join(struct.pack("<Biii", 3, *((i + 2**31) % 2**32 - 2**31 for i in facet)) for facet in facets.tolist())
    return head.encode() + points.astype("<f8").tobytes() + body


FORMATS = {"obj": obj, "stl": stl, "ply": ply}


def case(number: int, folder: Path) -> list[str]:
    """A system whose secondary is such a mesh."""
    chance = random.Random(f"mesh {number}")
    points, facets = ellipsoid_mesh([70.0, 61.5, 48.0], chance.choice((1, 2, 4)))
    if chance.random() < 0.9:
        points, facets = broken(chance, points, facets)
    kind = chance.choice(("obj", "obj", "stl", "ply"))
    raw = FORMATS[kind](points, facets, chance)
    if chance.random() < 0.2:
        raw = values.bytes_of(raw, chance)
    name = f"rock.{kind if chance.random() < 0.95 else chance.choice(('txt', 'OBJ', 'png'))}"
    (folder / name).write_bytes(raw)
    body = {"polyhedron": {"file": name, "unit": chance.choice(("m", "m", "m", "km"))}, "density_kg_m3": 3120.0}
    tables = {"secondary": body, "momentum_transfer": {"beta": 2.2}}
    (folder / "pair.toml").write_text(scenarios.valid_text(**tables))
    kind = chance.random()
    if kind < 0.5:
        return ["check", str(folder / "pair.toml")]
    return ["describe" if kind < 0.8 else "predict", str(folder / "pair.toml")]
