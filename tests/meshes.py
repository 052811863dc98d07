"""Triangle meshes for tests, closed unless their name says otherwise: vertices (n, 3), facets (m, 3) from 0."""

import numpy as np

Mesh = tuple[np.ndarray, np.ndarray]


def sphere_mesh(n: int) -> Mesh:
    """Unit sphere: an octahedron whose eight faces are divided n-fold along each edge (8 n^2 facets), pushed out."""
    corners = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [-1, 0, 0], [0, -1, 0], [0, 0, -1]], dtype=float)
    faces = [(0, 1, 2), (1, 3, 2), (3, 4, 2), (4, 0, 2), (1, 0, 5), (3, 1, 5), (4, 3, 5), (0, 4, 5)]
    number: dict[tuple[int, int, int], int] = {}
    facets = []
    for a, b, c in faces:

        def at(i: int, j: int, a=a, b=b, c=c) -> int:
            point = (n - i - j) * corners[a] + i * corners[b] + j * corners[c]
            return number.setdefault(tuple(int(x) for x in point), len(number))

        for i in range(n):
            for j in range(n - i):
                facets.append((at(i, j), at(i + 1, j), at(i, j + 1)))
                if i + j < n - 1:
                    facets.append((at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)))
    grid = np.array(list(number), dtype=float)
    return grid / np.linalg.norm(grid, axis=1)[:, None], np.array(facets)


def ellipsoid_mesh(semi_axes_m, n: int) -> Mesh:
    """Inscribed in the ellipsoid, 8 n^2 facets, even in its axes."""
    vertices, facets = sphere_mesh(n)
    return vertices * np.asarray(semi_axes_m), facets


def lumpy(n: int, seed: int, size_m: float = 100.0) -> Mesh:
    """A potato of 8 n^2 facets: a 1.3 x 1.1 x 0.9 ellipsoid with lumps, in a turned and shifted frame.

    The lumps are zonal harmonics of degree 1 to 5 about random axes; same seed, same body.
    """
    random = np.random.default_rng(seed)
    vertices, facets = sphere_mesh(n)
    radius = np.ones(len(vertices))
    for degree in range(1, 6):
        for axis, height in zip(random.normal(size=(3, 3)), random.normal(scale=0.08 / degree, size=3), strict=True):
            cosine = vertices @ axis / np.linalg.norm(axis)
            radius += height * np.polynomial.legendre.legval(cosine, [0.0] * degree + [1.0])
    lumps = size_m * radius[:, None] * vertices * [1.3, 1.1, 0.9]
    (c, s), turn_x = (np.cos(0.3), np.sin(0.3)), (np.cos(0.2), np.sin(0.2))
    about_z = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, turn_x[0], -turn_x[1]], [0.0, turn_x[1], turn_x[0]]])
    return lumps @ (about_z @ about_x).T + size_m * np.array([0.3, -0.2, 0.1]), facets


def box(lengths_m, centre_m=(0.0, 0.0, 0.0)) -> Mesh:
    """Twelve triangles around a box of these full lengths."""
    signs = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=float)
    facets = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1]]
    facets += [[2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    return signs * np.asarray(lengths_m) / 2.0 + np.asarray(centre_m), np.array(facets)


def broken_open() -> Mesh:
    """A box without its last facet."""
    vertices, facets = box((2, 3, 4))
    return vertices, facets[:-1]


def broken_flipped() -> Mesh:
    """A box with one facet turned inside out."""
    vertices, facets = box((2, 3, 4))
    facets[5] = facets[5, ::-1]
    return vertices, facets


def broken_inward() -> Mesh:
    """A box with every facet turned inside out."""
    vertices, facets = box((2, 3, 4))
    return vertices, facets[:, ::-1]


def broken_two_solids() -> Mesh:
    """Two boxes that do not touch."""
    (v, f), (w, g) = box((1, 1, 1)), box((1, 1, 1), (3, 0, 0))
    return np.vstack([v, w]), np.vstack([f, g + len(v)])


def broken_non_manifold() -> Mesh:
    """Two boxes that share one edge, with its two vertices in common: four facets meet there."""
    (v, f), (w, g) = box((1, 1, 1)), box((1, 1, 1), (1, 1, 0))
    points, index = np.unique(np.vstack([v, w]), axis=0, return_inverse=True)
    return points, index.ravel()[np.vstack([f, g + len(v)])]


def broken_degenerate() -> Mesh:
    """A box with one facet split at a point on its edge, so that a triangle without area closes the gap."""
    vertices, facets = box((2, 3, 4))
    a, b, c = facets[0]
    m = len(vertices)
    split = [[a, m, c], [m, b, c], [a, b, m]]
    return np.vstack([vertices, (vertices[a] + vertices[b]) / 2]), np.vstack([facets[1:], split])


def obj_text(vertices: np.ndarray, facets: np.ndarray) -> str:
    """The mesh as OBJ-style text, numbers with all their digits."""
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in vertices.tolist()]
    return "\n".join(lines + [f"f {i + 1} {j + 1} {k + 1}" for i, j, k in facets.tolist()]) + "\n"


def inside_out(n: int = 12) -> Mesh:
    """A lumpy body with one vertex moved through the centre to the other side: closed and oriented, but it crosses."""
    vertices, facets = lumpy(n, 3)
    middle = vertices.mean(axis=0)
    vertices[5] = middle - 1.2 * (vertices[5] - middle)
    return vertices, facets


def ply_text(vertices: np.ndarray, facets: np.ndarray) -> str:
    """The mesh as PLY text, numbers with all their digits."""
    head = f"ply\nformat ascii 1.0\ncomment made for a test\nelement vertex {len(vertices)}\n"
    head += "".join(f"property double {axis}\n" for axis in "xyz")
    head += f"element face {len(facets)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = [" ".join(map(repr, point)) for point in vertices.tolist()]
    return head + "\n".join(rows + [f"3 {i} {j} {k}" for i, j, k in facets.tolist()]) + "\n"


def stl_text(vertices: np.ndarray, facets: np.ndarray) -> str:
    """The mesh as STL text, numbers with all their digits."""
    lines = ["solid lumps"]
    for corners in vertices[facets].tolist():
        lines += ["facet normal 0 0 0", "outer loop", *(f"vertex {x!r} {y!r} {z!r}" for x, y, z in corners)]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid lumps", ""])
