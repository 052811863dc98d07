"""Mesh files: STL and PLY against trimesh, malformed ones, crossings against exact fractions, and what `check` says."""

import json
import os
import re
import struct
from fractions import Fraction

import meshes
import numpy as np
import pytest
import trimesh
from short_sweeps import HIT

from binarydyn.bodies import Mesh, mesh_facts
from binarydyn.bodies.meshes import limits as mesh_limits
from binarydyn.bodies.meshes.crossing import CROSS, FOLD, TOO_MANY, crossing
from binarydyn.bodies.meshes.mesh_file import read_mesh
from binarydyn.commands import main
from binarydyn.errors import ShapeError
from binarydyn.scenario import reading

LUMPS = meshes.lumpy(6, 2)


def ply(order: str, index: str = "int", more: str = "") -> bytes:
    """A box as binary PLY, with a colour and an element that says nothing about the shape."""
    vertices, facets = meshes.box((2.0, 3.0, 4.0))
    sign, kind = {"little": "<", "big": ">"}[order], {"int": "i", "uchar": "B"}[index]
    head = f"ply\r\nformat binary_{order}_endian 1.0\r\nelement camera 1\r\nproperty float f\r\n"
    head += "property list uchar short s\r\nelement vertex 8\r\nproperty float x\r\nproperty uchar red\r\n"
    head += "property float y\r\nproperty double z\r\nelement face 12\r\n"
    head += f"property list uchar {index} vertex_index\r\n{more}end_header\r\n"
    body = struct.pack(f"{sign}fB2h", 1.0, 2, 7, 8)
    body += b"".join(struct.pack(f"{sign}fBfd", x, 9, y, z) for x, y, z in vertices.tolist())
    return head.encode() + body + b"".join(struct.pack(f"{sign}B3{kind}", 3, *row) for row in facets.tolist())


def written(tmp_path, content) -> Mesh:
    path = tmp_path / "body.mesh"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return Mesh.read(path, "m", density_kg_m3=2000.0)


# Forms ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["stl", "stl_ascii", "ply", "ply_ascii"])
def test_what_trimesh_writes_is_read(form, tmp_path):
    """The same body as from the arrays, to what each form keeps of a number: 24 bits in binary, 8 digits in text."""
    mesh = trimesh.Trimesh(*LUMPS, process=False)
    binary = mesh.export(file_type="ply", encoding="ascii" if form == "ply_ascii" else "binary")
    made = binary if form.startswith("ply") else mesh.export(file_type=form)
    body, exact = written(tmp_path, made), Mesh(*LUMPS, 2000.0)
    assert len(body.facets) == len(exact.facets) and len(body.vertices_m) == len(exact.vertices_m)
    assert body.volume_m3 == pytest.approx(exact.volume_m3, rel=1e-6)
    assert np.allclose(body.centre_m, exact.centre_m, atol=1e-5)
    assert np.allclose(body.inertia_kg_m2, exact.inertia_kg_m2, rtol=1e-6)


@pytest.mark.parametrize("text", [meshes.obj_text, meshes.stl_text, meshes.ply_text])
def test_text_with_all_digits_gives_the_same_body(text, tmp_path):
    """Corners of an STL become one vertex where they are equal; the order of vertices is then another."""
    body, exact = written(tmp_path, text(*LUMPS)), Mesh(*LUMPS, 2000.0)
    assert len(body.vertices_m) == len(LUMPS[0])
    assert np.allclose(body.integrals_m, exact.integrals_m, rtol=1e-12, atol=1e-9 * np.abs(exact.integrals_m).max())


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("index", ["int", "uchar"])
def test_binary_ply_of_both_orders(order, index, tmp_path):
    body = written(tmp_path, ply(order, index))
    assert body.volume_m3 == pytest.approx(24.0, rel=1e-14)


def test_ply_with_polygons_and_a_fold_of_lengths(tmp_path):
    """Faces of three and four corners: rows of a binary file that are not equally long."""
    vertices, facets = meshes.box((2.0, 3.0, 4.0))
    faces = [[0, 1, 3, 2], *facets[2:].tolist()]
    head = "ply\nformat binary_little_endian 1.0\nelement vertex 8\nproperty float x\nproperty float y\n"
    head += "property float z\nelement face 11\nproperty list uint8 uint32 vertex_indices\nend_header\n"
    body = vertices.astype("<f4").tobytes() + b"".join(struct.pack(f"<B{len(f)}I", len(f), *f) for f in faces)
    assert written(tmp_path, head.encode() + body).volume_m3 == pytest.approx(24.0, rel=1e-14)


def test_an_stl_that_begins_with_solid_is_binary_by_its_length(tmp_path):
    made = bytearray(trimesh.Trimesh(*LUMPS, process=False).export(file_type="stl"))
    made[:6] = b"solid "
    assert len(written(tmp_path, bytes(made)).facets) == len(LUMPS[1])


def test_zero_and_minus_zero_are_one_place(tmp_path):
    text = meshes.stl_text(*meshes.box((2.0, 2.0, 2.0), (1.0, 1.0, 1.0)))
    assert text.count("vertex 0.0 ") > 3
    assert written(tmp_path, text.replace("vertex 0.0 ", "vertex -0.0 ", 3)).volume_m3 == pytest.approx(8.0, rel=1e-14)


# Refusals ---------------------------------------------------------------------------------------------------------

BINARY_STL = bytes(trimesh.Trimesh(*LUMPS, process=False).export(file_type="stl"))
PLY_TEXT, STL_TEXT = meshes.ply_text(*LUMPS), meshes.stl_text(*LUMPS)
HEAD = "ply\nformat binary_little_endian 1.0\nelement vertex 8\n"
NOT_FINITE = bytearray(BINARY_STL)
NOT_FINITE[96:100] = struct.pack("<f", float("nan"))


@pytest.mark.parametrize(
    "content, words",
    [
        (BINARY_STL[:-1], "cut off"),
        (BINARY_STL + b"x", "cut off"),
        (BINARY_STL[:80] + struct.pack("<I", 2**32 - 1) + BINARY_STL[84:], "cut off"),
        (bytes(NOT_FINITE), "not three finite numbers"),
        (STL_TEXT[: len(STL_TEXT) // 2], "cut off|not three finite"),
        (STL_TEXT.replace("vertex ", "vertex nan ", 1), "not three finite numbers"),
        (STL_TEXT.replace("endfacet", "end facet", 1), "not a line of an STL"),
        ("solid nothing\nendsolid nothing\n", "no facets"),
        (PLY_TEXT[: len(PLY_TEXT) // 2], "cut off"),
        (PLY_TEXT.replace("3 0 ", "3 nan ", 1), "vertex number|cut off"),
        (PLY_TEXT.replace("3 0 ", "2 0 ", 1), "fewer than 3|cut off|vertex number"),
        (PLY_TEXT.replace("3 0 ", "3 999 ", 1), "vertex number that is none of 0 to"),
        (PLY_TEXT.replace("element vertex ", "element vertex 999999"), "up to 200000"),
        (PLY_TEXT.replace("element vertex ", "element vertex -"), "says nothing known"),
        (PLY_TEXT.replace("property double y", "property double w"), "x, y, z"),
        (PLY_TEXT.replace("list uchar int vertex_indices", "list uchar int corners"), "vertex_indices"),
        (PLY_TEXT.replace("format ascii 1.0\n", ""), "no line `format`"),
        (PLY_TEXT.replace("list uchar", "list float"), "says nothing known"),
        (PLY_TEXT.replace("end_header", "end"), "has no end"),
        (ply("little")[:-20], "cut off"),
        (ply("little").replace(b"element face 12", b"element face 99"), "cut off"),
        (ply("little").replace(b"property double z", b"property double x"), "cut off"),
        (HEAD.encode() + b"end_header\n", "cut off|x, y, z"),
        (b"\x7fELF\0\0" + bytes(range(256)), "binary file"),
        ("f " + "1 " * 2000, "corners given"),
        ("\n" * 2_000_001, "lines given"),
    ],
)
def test_malformed_files_are_refused_in_a_sentence(content, words, tmp_path):
    with pytest.raises(ShapeError) as caught:
        written(tmp_path, content)
    assert re.search(words, caught.value.sentence) and "\n" not in str(caught.value)
    assert len(caught.value.sentence) < 300


@pytest.mark.parametrize("content", ["{secret}:x:0:0\n", "v {secret} 1 2\n", "f {secret} 2 3\n", "solid\n{secret}\n"])
@pytest.mark.parametrize("head", ["", "ply\n", "ply\nformat ascii 1.0\nelement vertex 1\nproperty int x\nend_header\n"])
def test_a_foreign_file_is_not_quoted(content, head, tmp_path, capsys):
    file = tmp_path / "pair.toml"
    (tmp_path / "foreign").write_text(head + content.format(secret="SesamOpen"))
    shape = 'polyhedron = {file = "foreign", unit = "m"}'
    file.write_text(HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", shape))
    for command in ("check", "predict"):
        assert main([command, str(file)]) == 2
        said = capsys.readouterr()
        assert "sesam" not in (said.out + said.err).lower() and len(said.err.splitlines()) == 1


def test_a_mesh_has_a_largest_size(tmp_path, monkeypatch, capsys):
    """Of its file, told by scenario and reader alike, and of its facets, from arrays too."""
    monkeypatch.setattr(mesh_limits, "LARGEST_FACETS", 200)
    with pytest.raises(ShapeError, match="288 facets given, up to 200 are"):
        Mesh(*LUMPS, 1.0)
    for text in (meshes.obj_text, meshes.stl_text, meshes.ply_text):
        with pytest.raises(ShapeError, match="up to 200 are"):
            written(tmp_path, text(*LUMPS))
    monkeypatch.undo()
    file = tmp_path / "pair.toml"
    with open(tmp_path / "large.obj", "wb") as large:
        large.truncate(reading.LARGEST_MESH_BYTES + 1)
    file.write_text(HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "large.obj", unit = "m"}'))
    assert main(["check", str(file)]) == 2
    assert "larger than 64 MiB" in capsys.readouterr().err
    with pytest.raises(ShapeError, match="larger than 64 MiB"):
        read_mesh(tmp_path / "large.obj", "m")


@pytest.mark.parametrize(
    "name, why", [("absent.obj", "No such file or directory"), ("a\0b.obj", "its name cannot be used")]
)
def test_a_file_that_cannot_be_read_says_why(name, why, tmp_path):
    with pytest.raises(ShapeError, match=re.escape(f"cannot be read ({why}); give the path of a mesh file")):
        read_mesh(f"{tmp_path}/{name}", "m")


def test_a_pipe_and_coordinates_beyond_any_body_are_refused(tmp_path):
    """A pipe that nobody writes to would keep the reader waiting; 1e8 m is a hundred times the largest body."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ShapeError, match="no regular file"):
        read_mesh(tmp_path / "pipe", "m")
    vertices, facets = LUMPS
    for far in (1e9, 1e200):
        with pytest.raises(ShapeError, match="check the unit"):
            written(tmp_path, meshes.obj_text(far * vertices, facets))


@pytest.mark.filterwarnings("error")
def test_a_signalling_nan_is_refused_without_a_word_of_numpy(tmp_path):
    signalling = bytearray(BINARY_STL)
    signalling[96:100] = bytes([1, 0, 160, 127])
    with pytest.raises(ShapeError, match="not three finite"):
        written(tmp_path, bytes(signalling))


# Crossings --------------------------------------------------------------------------------------------------------


def exactly_crossing(vertices: np.ndarray, facets: np.ndarray) -> bool:
    """By fractions: whether an edge passes through the inside of a facet with which it shares no vertex."""
    points = [[Fraction(x) for x in point] for point in vertices.tolist()]

    def volume(a, b, c, d) -> Fraction:
        u, v, w = ([x - y for x, y in zip(points[p], points[a], strict=True)] for p in (b, c, d))
        return (
            u[0] * (v[1] * w[2] - v[2] * w[1]) + u[1] * (v[2] * w[0] - v[0] * w[2]) + u[2] * (v[0] * w[1] - v[1] * w[0])
        )

    edges = {tuple(sorted((f[k], f[k - 1]))) for f in facets.tolist() for k in range(3)}
    for p, q in edges:
        for a, b, c in facets.tolist():
            if {p, q} & {a, b, c} or volume(a, b, c, p) * volume(a, b, c, q) >= 0:
                continue
            around = [volume(p, q, x, y) for x, y in ((a, b), (b, c), (c, a))]
            if all(v > 0 for v in around) or all(v < 0 for v in around):
                return True
    return False


def test_crossings_against_exact_fractions():
    """Bodies of 72 facets with a vertex moved at random, in or out, near or far: half of them cross themselves."""
    random, found = np.random.default_rng(3), []
    for seed in range(24):
        vertices, facets = meshes.lumpy(3, seed)
        k, middle = random.integers(len(vertices)), vertices.mean(axis=0)
        vertices[k] = middle + random.uniform(-1.8, 1.5) * (vertices[k] - middle) + random.normal(scale=30.0, size=3)
        found.append(crossing(vertices, facets)[0] == CROSS)
        assert found[-1] == exactly_crossing(vertices, facets)
    assert 6 <= sum(found) <= 18


def test_a_mesh_that_crosses_itself_is_refused(tmp_path):
    """Closed, oriented and connected; its volume is that of a body with what is inside out taken away."""
    vertices, facets = meshes.inside_out()
    with pytest.raises(ShapeError, match=r"crosses itself: facet \d+ and facet \d+ pass through each other"):
        Mesh(vertices, facets, 2000.0)
    with pytest.raises(ShapeError, match=r"crosses itself: the facet on line \d+ and"):
        written(tmp_path, meshes.obj_text(vertices, facets))


def test_facets_that_lie_upon_each_other_are_refused():
    """A face of a box with a point in it, moved in its plane beyond the opposite edge of its neighbours."""
    vertices, facets = meshes.box((2.0, 3.0, 4.0))
    a, b, c = facets[0]
    within, beyond = vertices[[a, b, c]].mean(axis=0), 2.0 * vertices[a] - vertices[[a, b, c]].mean(axis=0)
    split = np.vstack([facets[1:], [[a, b, 8], [b, c, 8], [c, a, 8]]])
    assert crossing(np.vstack([vertices, within]), split)[0] == 0
    assert crossing(np.vstack([vertices, beyond]), split)[0] == FOLD


def test_what_only_touches_or_is_flat_does_not_cross():
    """Faces of a box in many facets of one plane; a needle of a dent; facets that all meet at one point."""
    for n in (1, 5, 9):
        vertices, facets = meshes.sphere_mesh(n)
        assert crossing(vertices / np.abs(vertices).max(axis=1)[:, None], facets)[0] == 0
        octahedron = vertices / np.abs(vertices).sum(axis=1)[:, None]
        assert crossing(octahedron, facets)[0] == 0
    vertices, facets = meshes.sphere_mesh(8)
    vertices[0] = -0.8 * vertices[0]
    assert crossing(vertices, facets)[0] == 0
    assert crossing(*cone(400))[0] == 0


def cone(n: int):
    """A tip over a ring of n points, and a point below it."""
    angle = 2.0 * np.pi * np.arange(n) / n
    ring = np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
    i, j = np.arange(n), np.roll(np.arange(n), -1)
    facets = np.concatenate([np.stack([i, j, 0 * i + n], 1), np.stack([j, i, 0 * i + n + 1], 1)])
    return np.vstack([ring, [[0.0, 0.0, 5.0], [0.0, 0.0, -1.0]]]), facets


def test_a_search_that_would_last_too_long_is_given_up(monkeypatch):
    """Facets of a cone of 30 000 lie beside each other at the tip: half a thousand million pairs."""
    assert crossing(*cone(30_000))[0] == TOO_MANY
    with pytest.raises(ShapeError, match="divide long ones"):
        Mesh(*cone(30_000), 1.0)


def test_real_shapes_do_not_cross_themselves(shapes_folder):
    for name in ("castalia_4769.tab", "itokawa_25143.tab"):
        vertices, facets, _ = read_mesh(shapes_folder / name, "km")
        assert crossing(vertices, facets)[0] == 0


# What check says --------------------------------------------------------------------------------------------------


def test_check_says_what_a_mesh_became(tmp_path, capsys):
    """Against trimesh: extents along its principal axes, volume, centre of mass, angles of its triangles; the turn is
    that of the frame in which the mesh was made, when the lumps are taken away."""
    vertices, facets = LUMPS
    (tmp_path / "lumps.stl").write_text(meshes.stl_text(vertices / 1e3, facets))
    file = tmp_path / "pair.toml"
    file.write_text(HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "lumps.stl", unit = "km"}'))
    assert main(["check", str(file), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["meshes"]["secondary"]
    mesh = trimesh.Trimesh(vertices, facets, process=False)
    assert (found["facets"], found["vertices"]) == (len(facets), len(vertices))
    assert found["volume_m3"] == pytest.approx(mesh.volume, rel=1e-10)
    assert np.allclose(found["centre_of_mass_m"], mesh.center_mass, atol=1e-8)
    along = (vertices - mesh.center_mass) @ np.array(found["axes"]).T
    assert np.allclose(found["extents_m"], np.ptp(along, axis=0), rtol=1e-9)
    assert found["smallest_angle_deg"] == pytest.approx(np.degrees(mesh.face_angles.min()), rel=1e-6)
    assert found["mean_edge_m"] == pytest.approx(mesh.edges_unique_length.mean(), rel=1e-9)
    assert main(["check", str(file)]) == 0
    said = capsys.readouterr().out
    assert f"secondary as read: {len(facets)} facets" in said and "smallest angle" in said


def test_the_turn_to_the_principal_axes():
    """A box turned by 0.3 rad about its longest axis, as the axis of least inertia keeps its name."""
    vertices, facets = meshes.box((8.0, 5.0, 3.0))
    c, s = np.cos(0.3), np.sin(0.3)
    turned = vertices @ np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    facts = mesh_facts(Mesh(turned, facets, 2000.0))
    assert facts["turn_deg"] == pytest.approx(np.degrees(0.3), rel=1e-9)
    assert np.allclose(facts["extents_m"], [8.0, 5.0, 3.0], rtol=1e-12)


def test_check_refuses_a_mesh_that_is_no_solid(tmp_path, capsys):
    """Before, only a run found it out."""
    file = tmp_path / "pair.toml"
    file.write_text(HIT.replace("semi_axes_m = [70.0, 61.5, 48.0]", 'polyhedron = {file = "lumps.obj", unit = "m"}'))
    for mesh, words in ((meshes.broken_open(), "belongs to no other facet"), (meshes.inside_out(), "crosses itself")):
        (tmp_path / "lumps.obj").write_text(meshes.obj_text(*mesh))
        assert main(["check", str(file)]) == 2
        line = capsys.readouterr().err
        assert words in line and len(line.splitlines()) == 1
