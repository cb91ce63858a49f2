"""Which pairs are judged, which of them move, and which are meant to touch: by the bodies' names, one by one."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.pairs import (
    _among,
    _any_restraint,
    arm_pairs,
    judged_pairs,
    neighbour_pairs,
    pairs_that_fit,
    seated_pairs,
    seating_pairs,
    touching_pairs,
)
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion

WALL = Body("wall", "yard", Sphere(0.1), poses.translation((3.0, 0.0, 0.0)))
CRADLE = Body("cradle", "yard", Sphere(0.1), poses.translation((6.0, 0.0, 0.0)))
BOX = Body("box", "base", Sphere(0.1), poses.identity())
LID = Body("lid", "base", Sphere(0.1), poses.translation((0.0, 0.0, 0.2)))
SEATS = {"seats": {"berth": {"frame": "berth_at", "accepts": ["load"], "touches": ["cradle"]},
                   "other": {"frame": "berth_at", "accepts": ["crate"], "touches": ["wall"]}}}  # fmt: skip


@pytest.fixture
def built(rider_scene):
    """Build a scene with a load in the rider's hands, or in its seat, and a second person at a frame."""

    def build(load_at="ev1/hands", platform=None, model="load", **more):
        frames = {"berth_at": poses.translation((6.0, 0.0, 0.3)), "hatch": poses.translation((0.0, 9.0, 0.0))}
        script = {"hardware": {"load": {"model": model, "at": load_at}}}
        return rider_scene({}, (WALL, CRADLE), held=(BOX, LID), platform=SEATS | (platform or {}), frames=frames,
                           script=script, **more)  # fmt: skip

    return build


def _moving(scene, *joints):
    table = np.zeros((1, 2, len(scene.tree.joints)))
    table[0, 1, [scene.tree.column(joint) for joint in joints]] = 0.1
    return Motion(scene.tree.joints, np.array([0.0, 1.0]), table)


def _judged(scene, *joints):
    """Return the judged pairs by name, and whether each moves."""
    pairs, moves = judged_pairs(scene, scene.tree, _moving(scene, *joints) if joints else None)
    assert pairs.dtype.kind == "i" and moves.dtype == bool and len(pairs) == len(moves)
    assert np.all(pairs[:, 0] < pairs[:, 1]) and len(np.unique(pairs, axis=0)) == len(pairs)
    return {(scene.tree.bodies[a].name, scene.tree.bodies[b].name): bool(moved)
            for (a, b), moved in zip(pairs, moves, strict=True)}  # fmt: skip


def _named(scene, *named):
    names = [body.name for body in scene.tree.bodies]
    return np.array([(names.index(a), names.index(b)) for a, b in named])


def _has(found, one, other):
    return (one, other) in found or (other, one) in found


def test_all_but_what_is_built_so_is_judged_at_rest_too(built):
    scene = built()
    found = _judged(scene)
    assert not any(found.values())
    every = [body.name for body in scene.tree.bodies]
    owner = {name: name.split("/")[0] for name in every}
    expected = {
        frozenset((a, b)) for k, a in enumerate(every) for b in every[k + 1 :] if owner[a] != owner[b]
    }
    # of the arm's own only those that a joint between them can move: its two booms are joined directly
    expected |= {frozenset(("arm/boom_2", "arm/hand")), frozenset(("arm/boom_3", "arm/hand"))}
    assert {frozenset(pair) for pair in found} == expected


def test_what_the_motion_moves_against_each_other_is_told(built):
    scene = built()
    turned = _judged(scene, "arm/j1")
    moved = {frozenset(pair) for pair, moves in turned.items() if moves}
    for still in (("arm/hand", "ev1/trunk"), ("arm/boom_2", "arm/hand"), ("restraint/slab", "ev1/boots")):
        assert _has(turned, *still) and frozenset(still) not in moved
    for other in ("arm/boom_2", "arm/hand", "ev1/trunk", "load/box"):
        assert frozenset((other, "platform/wall")) in moved
    bent = _judged(scene, "ev1/hips")
    moved = {frozenset(pair) for pair, moves in bent.items() if moves}
    assert frozenset(("ev1/trunk", "platform/wall")) in moved and frozenset(("load/box", "restraint/slab")) in moved
    assert frozenset(("arm/hand", "platform/wall")) not in moved
    # a person's own bodies are left out also where the trunk leans over the boots
    assert not _has(bent, "ev1/trunk", "ev1/boots") and not _has(bent, "load/box", "load/lid")


def test_who_is_inside_is_not_judged(built):
    inside = _judged(built(platform={"airlock": "hatch"}, worker_at="platform/hatch"))
    outside = _judged(built(worker_at="platform/hatch"))
    assert not any(name.startswith("ev2/") for pair in inside for name in pair)
    assert any(name.startswith("ev2/") for pair in outside for name in pair)


@pytest.mark.parametrize("pairs", [
    [["boom_*", "hand"]], [["hand", "boom_*"]], [["boom_2", "hand"], ["boom_3", "hand"]],
])  # fmt: skip
def test_pairs_that_the_arms_document_ignores_are_left_out_and_only_the_arms(built, pairs):
    scene = built(arm={"ignore_pairs": pairs})
    found = _judged(scene, "arm/j5")
    assert not _has(found, "arm/boom_2", "arm/hand") and not _has(found, "arm/boom_3", "arm/hand")
    assert _has(found, "arm/hand", "platform/wall")


def test_the_arms_pairs_are_those_its_joints_can_move_and_that_may_not_touch(built):
    scene = built()
    names = [body.name for body in scene.tree.bodies]
    found = {frozenset((names[a], names[b])) for a, b in arm_pairs(scene, scene.tree)}
    assert frozenset(("arm/hand", "platform/wall")) in found and frozenset(("arm/boom_2", "arm/hand")) in found
    assert frozenset(("ev1/trunk", "arm/boom_2")) in found
    assert frozenset(("ev1/boots", "restraint/slab")) not in found  # meant to touch
    assert frozenset(("ev1/trunk", "restraint/slab")) not in found  # moved by the hips, not by the arm
    assert frozenset(("platform/wall", "platform/cradle")) not in found


def test_links_that_a_joint_joins_are_told_in_either_order(built):
    scene = built()
    named = (("arm/boom_2", "arm/boom_3"), ("arm/boom_3", "arm/boom_2"), ("arm/boom_3", "arm/hand"),
             ("restraint/slab", "ev1/boots"), ("platform/wall", "platform/cradle"))  # fmt: skip
    assert neighbour_pairs(scene, scene.tree, _named(scene, *named)).tolist() == [True, True, False, False, False]
    assert neighbour_pairs(scene, scene.tree, np.zeros((0, 2), dtype=np.int64)).tolist() == []


@pytest.mark.parametrize(("parent", "own"), [("platform/berth_at", "platform"), ("ev2/hands", "ev2"), ("arm/tip", "")])
def test_a_restraint_off_the_arm_rests_on_what_it_is_on(built, parent, own):
    scene = built(worker_at="platform/hatch")
    tree = scene.tree.attach("restraint", parent, poses.identity())
    named = (("restraint/slab", "platform/wall"), ("platform/cradle", "restraint/slab"),
             ("restraint/slab", "ev2/trunk"), ("restraint/slab", "load/box"), ("arm/hand", "restraint/slab"),
             ("arm/hand", "platform/wall"))  # fmt: skip
    owners = [{one.split("/")[0], other.split("/")[0]} for one, other in named]
    rest = seated_pairs(scene, tree, _named(scene, *named)).tolist()
    assert rest == [bool(own) and both == {"restraint", own} for both in owners]


def test_hands_that_hold_a_restraint_may_touch_it_and_nobody_elses(built):
    scene = built(worker_at="platform/hatch")
    named = (("restraint/slab", "ev2/glove"), ("ev1/glove", "restraint/slab"), ("restraint/slab", "ev2/trunk"),
             ("restraint/slab", "ev1/boots"))  # fmt: skip
    held = scene.tree.attach("restraint", "ev2/hands", poses.identity())
    # the rules' own word, boots on the restraint, holds all along
    assert touching_pairs(scene, scene.tree, _named(scene, *named)).tolist() == [False, False, False, True]
    assert touching_pairs(scene, held, _named(scene, *named)).tolist() == [True, False, False, True]
    socketed = scene.tree.attach("restraint", "platform/hatch", poses.identity())
    assert touching_pairs(scene, socketed, _named(scene, *named)).tolist() == [False, False, False, True]


def test_the_mount_of_a_restraint_meets_its_socket_and_the_rest_of_it_does_not(built, monkeypatch):
    scene = built(worker_at="platform/hatch")
    named = (("restraint/slab", "platform/wall"), ("platform/cradle", "restraint/slab"), ("restraint/slab", "arm/hand"),
             ("restraint/slab", "ev2/trunk"))  # fmt: skip
    in_socket = scene.tree.attach("restraint", "platform/hatch", poses.identity())
    assert not touching_pairs(scene, in_socket, _named(scene, *named)).any()
    monkeypatch.setitem(scene.loaded.restraints["restraint"].document.__dict__, "mount", "c")  # the slab's own link
    assert touching_pairs(scene, in_socket, _named(scene, *named)).tolist() == [True, True, False, False]
    assert not touching_pairs(scene, scene.tree, _named(scene, *named)).any()  # on the arm the rules alone speak


def test_what_the_rules_say_of_the_restraint_they_say_of_every_one():
    scene = SimpleNamespace(loaded=SimpleNamespace(restraints=dict.fromkeys(("restraint", "second", "third"))))
    assert _any_restraint(scene, "restraint/slab|ev1/*") == "restraint/slab|ev1/*|second/slab|third/slab"
    assert _any_restraint(scene, "ev1/*") == "ev1/*"


def test_contact_is_meant_by_the_rules_and_in_a_holders_hands(built):
    scene = built(load={"touches": ["glove"]})
    named = (("ev1/boots", "restraint/slab"), ("restraint/slab", "ev1/boots"), ("load/box", "ev1/glove"),
             ("ev1/glove", "load/lid"), ("load/box", "ev1/trunk"), ("ev1/trunk", "restraint/slab"))  # fmt: skip
    assert touching_pairs(scene, scene.tree, _named(scene, *named)).tolist() == [True, True, True, True, False, False]


@pytest.mark.parametrize(("load_at", "rests"), [("platform/berth_at", True), ("ev1/hands", False)])
def test_hardware_in_a_seat_rests_beside_the_platform_alone(built, load_at, rests):
    scene = built(load_at)
    named = (("load/box", "platform/wall"), ("platform/cradle", "load/lid"), ("load/box", "ev1/trunk"),
             ("arm/hand", "platform/wall"))  # fmt: skip
    assert seated_pairs(scene, scene.tree, _named(scene, *named)).tolist() == [rests, rests, False, False]


@pytest.mark.parametrize("name", ["load", "crate_model", "none"])
def test_a_seat_takes_an_item_by_any_of_its_names(built, name):
    seats = {"seats": {"berth": {"frame": "berth_at", "accepts": [name], "touches": ["cradle", "nothing"]}}}
    scene = built(platform=seats, model="crate_model")  # the model's file is called none
    assert seating_pairs(scene, scene.tree, _named(scene, ("load/box", "platform/cradle"))).tolist() == [True]


def test_a_part_of_a_seat_takes_up_what_the_seat_takes(built):
    scene = built()
    named = (("load/box", "platform/cradle"), ("platform/cradle", "load/lid"), ("load/box", "platform/wall"),
             ("ev1/trunk", "platform/cradle"))  # fmt: skip
    assert seating_pairs(scene, scene.tree, _named(scene, *named)).tolist() == [True, True, False, False]


def test_patterns_fit_in_either_order_and_by_either_word(built):
    scene = built()
    pairs = _named(scene, ("ev1/trunk", "platform/wall"), ("platform/wall", "ev1/boots"), ("ev1/trunk", "ev1/boots"))
    for both in (("ev1/*", "platform/wall"), ("platform/wall|platform/none", "ev1/*")):
        assert pairs_that_fit(scene.tree, both, *pairs.T).tolist() == [True, True, False]
    assert pairs_that_fit(scene.tree, ("ev1/trunk", "*"), *pairs.T).tolist() == [True, False, True]


def test_a_pair_is_among_others_only_where_both_are_the_same():
    every = np.array([(a, b) for a in range(5) for b in range(a + 1, 5)])
    for k, one in enumerate(every):
        assert np.flatnonzero(_among(one[None], *every.T)).tolist() == [k]
        assert _among(every, *one[None].T).tolist() == [True]
        assert not _among(np.delete(every, k, axis=0), *one[None].T).any()
    assert not _among(np.zeros((0, 2), dtype=np.int64), *every.T).any()
