"""Support functions of convex cores: how far a core reaches in a direction, and where.

A body is a core (point, segment, box, cylinder or vertex cloud) swept by a ball of ``size[b, 3]`` metres;
the ball never enters here. Arrays, b a body and row a pose:

    form  (B, 3)  kind, first vertex, number of vertices
    size  (B, 5)  half extents x y z (cylinder: radius, -, half length), swept radius, bounding radius
    verts (V, 3)  vertices of all meshes, in body frames
    pose  (P, 12) rotation columns x, y, z, then the centre
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

import math

from armcarry.clearance.jit import inlined

POINT, SEGMENT, BOX, CYLINDER, CLOUD = 0, 1, 2, 3, 4


@inlined
def reach(form, size, verts, b, pose, row, dx, dy, dz):
    """Return max of d . (p - centre) over the core of body b, metres times |d|."""
    kind = form[b, 0]
    if kind == 0:
        return 0.0
    lz = dx * pose[row, 6] + dy * pose[row, 7] + dz * pose[row, 8]
    if kind == 1:
        return abs(lz) * size[b, 2]
    lx = dx * pose[row, 0] + dy * pose[row, 1] + dz * pose[row, 2]
    ly = dx * pose[row, 3] + dy * pose[row, 4] + dz * pose[row, 5]
    if kind == 2:
        return abs(lx) * size[b, 0] + abs(ly) * size[b, 1] + abs(lz) * size[b, 2]
    if kind == 3:
        return math.sqrt(lx * lx + ly * ly) * size[b, 0] + abs(lz) * size[b, 2]
    best = -1e300
    for k in range(form[b, 1], form[b, 1] + form[b, 2]):
        best = max(best, verts[k, 0] * lx + verts[k, 1] * ly + verts[k, 2] * lz)
    return best


@inlined
def support(form, size, verts, b, pose, row, dx, dy, dz, out, at):
    """Write the point (3,) of the core of body b farthest along d to out[at:at + 3], in the pose's frame."""
    kind = form[b, 0]
    x = y = z = 0.0
    if kind > 0:
        z = dx * pose[row, 6] + dy * pose[row, 7] + dz * pose[row, 8]
        if kind > 1:
            x = dx * pose[row, 0] + dy * pose[row, 1] + dz * pose[row, 2]
            y = dx * pose[row, 3] + dy * pose[row, 4] + dz * pose[row, 5]
        if kind == 4:
            best = -1e300
            pick = form[b, 1]
            for k in range(form[b, 1], form[b, 1] + form[b, 2]):
                value = verts[k, 0] * x + verts[k, 1] * y + verts[k, 2] * z
                if value > best:
                    best = value
                    pick = k
            x, y, z = verts[pick, 0], verts[pick, 1], verts[pick, 2]
        else:
            z = size[b, 2] if z >= 0.0 else -size[b, 2]
            if kind == 2:
                x = size[b, 0] if x >= 0.0 else -size[b, 0]
                y = size[b, 1] if y >= 0.0 else -size[b, 1]
            elif kind == 3:
                flat = math.sqrt(x * x + y * y)
                # along the axis every rim point ties: the middle of the cap is as far and more useful
                scale = size[b, 0] / flat if flat > 1e-12 * math.sqrt(dx * dx + dy * dy + dz * dz) else 0.0
                x *= scale
                y *= scale
    out[at] = pose[row, 9] + pose[row, 0] * x + pose[row, 3] * y + pose[row, 6] * z
    out[at + 1] = pose[row, 10] + pose[row, 1] * x + pose[row, 4] * y + pose[row, 7] * z
    out[at + 2] = pose[row, 11] + pose[row, 2] * x + pose[row, 5] * y + pose[row, 8] * z


@inlined
def plane_gap(form, size, verts, a, b, pose, ra, rb, nx, ny, nz):
    """Return the width of the empty slab between bodies a and b across unit n, balls included, metres.

    It is a lower bound of the distance for any n with |n| <= 1; negative where n does not part them.
    """
    gap = (
        nx * (pose[rb, 9] - pose[ra, 9]) + ny * (pose[rb, 10] - pose[ra, 10]) + nz * (pose[rb, 11] - pose[ra, 11])
    )
    gap -= reach(form, size, verts, a, pose, ra, nx, ny, nz)
    gap -= reach(form, size, verts, b, pose, rb, -nx, -ny, -nz)
    return gap - size[a, 3] - size[b, 3]
