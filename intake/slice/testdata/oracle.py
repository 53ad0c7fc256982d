# Cuts a mesh into layers with numpy and shapely, as a second opinion.
#
# Reads a JSON request from standard input: the mesh (vertices, triangles), and
# for each layer to look at the heights of the cuts around it; writes areas and
# lengths in mm2 and mm. Regions are by nonzero winding, worked out for every
# face of the arrangement that shapely finds.
import json
import math
import sys

import numpy as np
from shapely import affinity
from shapely.geometry import LineString, MultiLineString, Polygon
from shapely.ops import polygonize, unary_union


def segments(v, t, z):
    """Directed segments where the facets cross z, the inside to the left."""
    up = v[:, 2] >= z
    a = t[(up[t].sum(axis=1) % 3) != 0]
    starts, ends = np.zeros((len(a), 2)), np.zeros((len(a), 2))
    for k in range(3):
        p, q = a[:, k], a[:, (k + 1) % 3]
        low, high = np.where(up[p], q, p), np.where(up[p], p, q)
        with np.errstate(divide="ignore", invalid="ignore"):
            r = (z - v[low, 2]) / (v[high, 2] - v[low, 2])
        at = v[low, :2] + r[:, None] * (v[high, :2] - v[low, :2])
        rises, falls = ~up[p] & up[q], up[p] & ~up[q]
        ends[rises] = at[rises]
        starts[falls] = at[falls]
    return np.round(starts, 4), np.round(ends, 4)


def winding(starts, ends, x, y):
    """Winding number at a point, by a ray to -x."""
    rises = (starts[:, 1] <= y) & (ends[:, 1] > y)
    falls = (starts[:, 1] > y) & (ends[:, 1] <= y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = starts[:, 0] + (y - starts[:, 1]) / (ends[:, 1] - starts[:, 1]) * (ends[:, 0] - starts[:, 0])
    left = at < x
    return int((falls & left).sum()) - int((rises & left).sum())


def region(v, t, z):
    starts, ends = segments(v, t, z)
    keep = (starts != ends).any(axis=1)
    starts, ends = starts[keep], ends[keep]
    lines = unary_union(MultiLineString([LineString(p) for p in zip(starts, ends)]))
    inside = []
    for face in polygonize(lines):
        p = face.representative_point()
        if winding(starts, ends, p.x, p.y) != 0:
            inside.append(face)
    return unary_union(inside)


def hatch(shape, angle, pitch):
    """Length of lines at (k + 1/2) pitch across, along an angle."""
    turned = affinity.rotate(shape, -angle, origin=(0, 0))
    if turned.is_empty:
        return 0.0
    x0, y0, x1, y1 = turned.bounds
    total = 0.0
    for k in range(math.floor(y0 / pitch) - 1, math.ceil(y1 / pitch) + 1):
        y = (k + 0.5) * pitch
        total += turned.intersection(LineString([(x0 - 1, y), (x1 + 1, y)])).length
    return total


def inset(shape, d):
    return shape.buffer(-d, join_style=2, mitre_limit=1.5)


def layer(v, t, ask):
    w, shells = ask["width"], ask["shells"]
    here = region(v, t, ask["z"])
    out = {"area": here.area, "length": here.length, "shells": []}
    inside = here
    for k in range(shells):  # each shell is laid along what the one before it leaves
        lines = inset(inside, w / 2)
        out["shells"].append(lines.length)
        inside = inset(lines, w / 2)
    cover = inside
    for z in ask["above"] + ask["below"]:
        cover = cover.intersection(region(v, t, z))
    if ask["ends"]:
        cover = Polygon()
    solid = inside.difference(cover)
    out["inside"], out["solid"], out["sparse"] = inside.area, solid.area, cover.area
    out["hatch"] = hatch(inside, ask["angle"], w)
    return out


def main():
    req = json.load(sys.stdin)
    v, t = np.array(req["vertices"]), np.array(req["triangles"])
    json.dump([layer(v, t, ask) for ask in req["layers"]], sys.stdout)


main()
