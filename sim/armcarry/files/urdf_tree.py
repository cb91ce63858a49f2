"""The tree that the joints of a URDF make of its links, and which of them follow others."""

from __future__ import annotations

import heapq
from dataclasses import replace

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.urdf_parts import Part
from armcarry.files.validate import raise_all
from armcarry.files.yaml_text import shorten
from armcarry.geometry.model import Joint


def led(robot: Part, joints: list[Joint], lines: dict[tuple[str, str], int]) -> list[Joint]:
    """Return the joints, each that follows another tied to one that follows none. Raises InputErrors."""
    by_name, problems = {joint.name: joint for joint in joints}, []
    tied = []
    for joint in joints:
        follows, passed = joint.follows, {joint.name}
        while follows is not None:
            line, leader = lines["joint", joint.name], by_name.get(follows.joint)
            if leader is None or leader.kind == "fixed" or leader.name in passed:
                why = "is not there" if leader is None else "is fixed"
                why = "follows it in turn" if leader is not None and leader.kind != "fixed" else why
                movable = [name for name, other in by_name.items() if other.kind != "fixed" and other.follows is None]
                accepted = names.accepted(follows.joint, movable, "joint")
                problem = f"joint '{joint.name}' follows '{shorten(follows.joint)}', which {why}"
                problems.append(InputError(problem, file=robot.path, line=line, accepted=accepted))
                break
            if leader.follows is None:
                break
            passed.add(leader.name)
            follows = follows.through(leader.follows)
        tied.append(replace(joint, follows=follows) if follows is not joint.follows else joint)
    raise_all(problems)
    return tied


def in_tree_order(
    robot: Part, links: list[str], joints: list[Joint], lines: dict[tuple[str, str], int]
) -> tuple[str, tuple[Joint, ...]]:
    """Return the root link and the joints in topological order, in the file's order where that leaves a choice."""
    problems = _loose_ends(robot, links, joints, lines)
    raise_all(problems)
    children = {joint.child for joint in joints}
    roots = [link for link in links if link not in children]
    if len(roots) > 1:
        second = lines["link", roots[1]]
        raise InputError(
            f"{len(roots)} links are nobody's child: {', '.join(roots[:6])}",
            file=robot.path, line=second, accepted="one root link",
        )
    below: dict[str, list[int]] = {}
    for number, joint in enumerate(joints):
        below.setdefault(joint.parent, []).append(number)
    waiting = list(below.get(roots[0], [])) if roots else []
    heapq.heapify(waiting)
    order: list[Joint] = []
    while waiting:
        joint = joints[heapq.heappop(waiting)]
        order.append(joint)
        for number in below.get(joint.child, []):
            heapq.heappush(waiting, number)
    if len(order) < len(joints) or not roots:
        reached = {joint.name for joint in order}
        left = [joint.name for joint in joints if joint.name not in reached]
        raise InputError(
            f"joints go round in a circle: {', '.join(left[:6])}",
            file=robot.path, line=lines["joint", left[0]], accepted="a tree of links",
        )
    return roots[0], tuple(order)


def _loose_ends(
    robot: Part, links: list[str], joints: list[Joint], lines: dict[tuple[str, str], int]
) -> list[InputError]:
    """Return the joints whose links are unknown, or whose child has another parent already."""
    problems: list[InputError] = []
    known, parent_joint = set(links), dict[str, str]()
    for joint in joints:
        line = lines["joint", joint.name]
        for word, link in (("parent", joint.parent), ("child", joint.child)):
            if link not in known:
                problems.append(
                    InputError(
                        f"joint '{joint.name}': {word} link '{link[:64]}' does not exist",
                        file=robot.path, line=line, accepted=names.accepted(link, known, "link"),
                    )
                )
        if joint.child in parent_joint:
            problems.append(
                InputError(
                    f"joint '{joint.name}': link '{joint.child}' is already the child of '{parent_joint[joint.child]}'",
                    file=robot.path, line=line, accepted="one parent a link",
                )
            )
        parent_joint.setdefault(joint.child, joint.name)
    return problems
