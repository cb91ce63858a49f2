"""What is asked of two bodies: rule, seat, relaxation and contact that is meant, and when each of them holds."""

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import MEANT, NEIGHBOURS, NO_RULE, RESTS, RULE, TOUCH_M, Asked, Requirement, arm_asked
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere

WALL = Body("wall", "yard", Sphere(0.1), poses.translation((3.0, 0.0, 0.0)))
CRADLE = Body("cradle", "yard", Sphere(0.1), poses.translation((6.0, 0.0, 0.0)))
BOX = Body("box", "base", Sphere(0.1), poses.identity())
RULED = [
    {"between": ["arm", "structure"], "distance": "0.6 m"}, {"between": ["rider", "structure"], "distance": "0.4 m"},
    {"between": ["hardware", "structure"], "distance": "0.3 m"},
]
SEATS = {"seats": {"berth": {"frame": "berth_at", "accepts": ["load"], "touches": ["cradle"]}}}


def _scene(rider_scene, load_at="ev1/hands", worker_at=None, **more):
    load = {"hardware": {"load": {"model": "load", "at": load_at}}}
    return rider_scene(
        {}, (WALL, CRADLE), held=(BOX,), platform=SEATS, script=load, worker_at=worker_at,
        frames={"berth_at": poses.translation((6.0, 0.0, 0.3))}, rules={"required": RULED} | more,
    )  # fmt: skip


def _pairs(scene, *named):
    names = [body.name for body in scene.tree.bodies]
    return np.array([sorted((names.index(a), names.index(b))) for a, b in named])


ARM_WALL, CREW_WALL, LOAD_WALL = (("arm/hand", "platform/wall"), ("ev1/trunk", "platform/wall"),
                                  ("load/box", "platform/wall"))  # fmt: skip
LOAD_CRADLE, BOOTS, ARM_CREW = (("load/box", "platform/cradle"), ("ev1/boots", "restraint/slab"),
                                ("arm/hand", "ev1/trunk"))  # fmt: skip
ALL = (ARM_WALL, CREW_WALL, LOAD_WALL, LOAD_CRADLE, BOOTS, ARM_CREW)


def _asked(scene, *relaxed, named=ALL):
    return Requirement(scene, scene.tree, _pairs(scene, *named), relaxed)


def _granted(a, b, required_m, start_s=10.0, end_s=20.0, why="by eye", place=""):
    return Relaxed(a, b, required_m, start_s, end_s, why, place)


def test_the_rule_of_the_classes_counts_and_the_rest_only_must_not_touch(rider_scene):
    found = _asked(_scene(rider_scene)).at(0.0)
    np.testing.assert_array_equal(found.required_m, [0.6, 0.4, 0.3, 0.3, np.nan, np.nan])
    assert found.why.tolist() == [RULE, RULE, RULE, RULE, MEANT, NO_RULE]
    assert found.meant.tolist() == [False, False, False, False, True, False]
    assert found.granted.tolist() == [-1] * 6
    np.testing.assert_array_equal(found.kept_m, [0.6, 0.4, 0.3, 0.3, np.nan, 0.0])
    assert (found.start_s, found.end_s) == (0.0, 0.0)


def test_after_a_fault_the_remainder_is_left_but_no_more_than_was_asked_and_never_a_touch(rider_scene):
    small = _granted("arm/*", "platform/*", 0.05)
    none = _granted("ev1/*", "platform/*", 0.0)
    found = _asked(_scene(rider_scene), small, none).at(15.0)
    np.testing.assert_allclose(found.left_m, [0.05, TOUCH_M, 0.1, 0.1, np.nan, 0.1])


def test_who_sits_in_a_seat_is_asked_nothing_of_the_platform_and_may_touch_what_takes_it_up(rider_scene):
    found = _asked(_scene(rider_scene, load_at="platform/berth_at"))
    names = found.at(0.0)
    np.testing.assert_array_equal(names.required_m, [0.6, 0.4, 0.0, np.nan, np.nan, np.nan])
    assert names.why.tolist()[2:4] == [RESTS, RESTS]
    assert names.meant.tolist() == [False, False, False, True, True, False]
    np.testing.assert_allclose(names.left_m[2:4], [TOUCH_M, np.nan])


def test_what_somebody_off_the_arm_brings_is_asked_no_more_than_their_own_body(rider_scene):
    walker = {"between": ["worker", "structure"], "distance": "0 m"}
    afoot = {"worker_at": "platform/berth_at", "load_at": "ev2/hands"}
    assert _asked(_scene(rider_scene, **afoot), named=(LOAD_WALL,)).at(0.0).required_m == 0.3  # no rule for workers
    found = _asked(_scene(rider_scene, required=[*RULED, walker], **afoot), named=(LOAD_WALL, LOAD_CRADLE)).at(0.0)
    assert (found.required_m[0], found.why[0], found.meant[1]) == (0.0, RULE, True)
    on_arm = _asked(_scene(rider_scene, required=[*RULED, walker], worker_at="platform/berth_at"), named=(LOAD_WALL,))
    assert on_arm.at(0.0).required_m == 0.3
    stricter = [*RULED, walker | {"distance": "0.5 m"}]
    assert _asked(_scene(rider_scene, required=stricter, **afoot), named=(LOAD_WALL,)).at(0.0).required_m == 0.3


def test_a_relaxation_counts_for_its_two_in_either_order_where_it_asks_for_less(rider_scene):
    for both in (("ev1/*", "platform/wall"), ("platform/wall", "ev1/*")):
        found = _asked(_scene(rider_scene), _granted(*both, 0.2), _granted("arm/*", "platform/*", 0.9)).at(15.0)
        np.testing.assert_array_equal(found.required_m[:3], [0.6, 0.2, 0.3])
        assert found.why.tolist()[:3] == [RULE, "by eye", RULE]
        assert found.granted.tolist()[:3] == [-1, 0, -1]


def test_no_relaxation_asks_anything_where_there_is_no_rule(rider_scene):
    found = _asked(_scene(rider_scene), _granted("arm/*", "ev1/*", 0.2)).at(15.0)
    assert np.isnan(found.required_m[5]) and found.why[5] == NO_RULE


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_of_several_at_once_the_smallest_counts(rider_scene, order):
    both = [_granted("ev1/*", "platform/*", 0.3, why="far"), _granted("ev1/*", "platform/*", 0.2, place="bay")]
    found = _asked(_scene(rider_scene), *(both[k] for k in order)).at(15.0)
    assert (found.required_m[1], found.why[1], found.granted[1]) == (0.2, "by eye, bay", order.index(1))


def test_the_first_of_two_that_ask_the_same_gives_the_reason(rider_scene):
    same = [_granted("ev1/*", "platform/*", 0.2, why=why) for why in ("one", "other")]
    found = _asked(_scene(rider_scene), *same).at(15.0)
    assert (found.why[1], found.granted[1]) == ("one", 0)


def test_hardware_of_which_nothing_is_required_may_touch_its_seat_and_nothing_else(rider_scene):
    found = _asked(_scene(rider_scene), _granted("load/*", "platform/*", 0.0)).at(15.0)
    assert found.meant.tolist()[2:4] == [False, True]
    assert (found.required_m[2], found.left_m[2]) == (0.0, TOUCH_M)
    assert np.isnan(found.required_m[3]) and np.isnan(found.left_m[3])
    nearly = _asked(_scene(rider_scene), _granted("load/*", "platform/*", 0.01)).at(15.0)
    assert nearly.meant.tolist()[2:4] == [False, False]


@pytest.mark.parametrize(("time_s", "required"), [(9.99, 0.4), (10.0, 0.2), (15.0, 0.2), (20.0, 0.2), (20.01, 0.4)])
def test_a_relaxation_holds_at_both_its_ends_and_not_beyond(rider_scene, time_s, required):
    assert _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2)).at(time_s).required_m[1] == required


def _edges(windows):
    return [(found.start_s, found.end_s, found.required_m[0]) for found in windows]


def test_a_stretch_is_cut_where_what_is_asked_changes(rider_scene):
    asked = _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2), named=(CREW_WALL, ARM_CREW))
    assert _edges(asked.windows(0.0, 30.0)) == [(0.0, 10.0, 0.4), (10.0, 20.0, 0.2), (20.0, 30.0, 0.4)]
    assert _edges(asked.windows(12.0, 30.0)) == [(12.0, 20.0, 0.2), (20.0, 30.0, 0.4)]
    assert _edges(asked.windows(0.0, 15.0)) == [(0.0, 10.0, 0.4), (10.0, 15.0, 0.2)]
    assert _edges(asked.windows(20.0, 30.0)) == [(20.0, 30.0, 0.4)]
    assert _edges(asked.windows(0.0, 10.0)) == [(0.0, 10.0, 0.4)]
    assert _edges(asked.windows(15.0, 15.0)) == [(15.0, 15.0, 0.2)]


def test_a_relaxation_of_other_pairs_cuts_nothing(rider_scene):
    asked = _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2), named=(CREW_WALL, ARM_CREW))
    (found,) = asked.windows(0.0, 30.0, np.array([1]))
    assert (found.start_s, found.end_s) == (0.0, 30.0)
    np.testing.assert_array_equal(found.pairs, asked.pairs[[1]])
    alone = asked.windows(0.0, 30.0, np.array([0]))
    assert [len(found.pairs) for found in alone] == [1, 1, 1]
    assert [found.granted.tolist() for found in alone] == [[-1], [0], [-1]]


def test_pairs_that_the_same_relaxations_touch_are_one_group(rider_scene):
    asked = _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2), _granted("arm/*", "*", 0.1, 20.0, 30.0))
    assert sorted(group.tolist() for group in asked.groups(0.0, 9.0)) == [[0, 1, 2, 3, 4, 5]]
    assert sorted(group.tolist() for group in asked.groups(0.0, 15.0)) == [[0, 2, 3, 4, 5], [1]]
    assert sorted(group.tolist() for group in asked.groups(0.0, 25.0)) == [[0, 5], [1], [2, 3, 4]]
    assert sorted(group.tolist() for group in asked.groups(20.0, 25.0)) == [[0, 5], [1, 2, 3, 4]]


def test_some_of_the_pairs_are_taken_with_all_that_is_said_of_them(rider_scene):
    whole = _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2)).at(15.0)
    some = whole.take(np.array([4, 1]))
    assert isinstance(some, Asked)
    for name in ("pairs", "required_m", "why", "granted", "meant", "left_m"):
        np.testing.assert_array_equal(getattr(some, name), getattr(whole, name)[[4, 1]])


def test_what_the_arm_can_move_is_asked_by_the_rules_alone(rider_scene):
    scene = _scene(rider_scene)
    asked = arm_asked(scene, scene.tree)
    pairs, required = asked.pairs, asked.required_m
    names = [body.name for body in scene.tree.bodies]
    found = {frozenset((names[a], names[b])): value for (a, b), value in zip(pairs, required, strict=True)}
    assert found[frozenset(ARM_WALL)] == 0.6
    assert found[frozenset(CREW_WALL)] == 0.4
    assert frozenset(ARM_CREW) not in found and frozenset(BOOTS) not in found
    assert not np.isnan(required).any()


def test_what_is_in_the_own_hands_is_asked_what_a_rider_is_on_or_off_the_arm(rider_scene):
    held = {"between": ["rider", "hardware"], "distance": "0.25 m"}
    apart = {"between": ["worker", "hardware"], "distance": "0.5 m"}
    rules = {"required": [*RULED, held, apart]}
    for load_at, mine, other in (("ev1/hands", "ev1", "ev2"), ("ev2/hands", "ev2", "ev1")):
        scene = _scene(rider_scene, load_at=load_at, worker_at="platform/berth_at", **rules)
        found = _asked(scene, named=(("load/box", f"{mine}/trunk"), ("load/box", f"{other}/trunk"))).at(0.0)
        assert found.required_m[0] == 0.25
        assert found.required_m[1] == (0.5 if other == "ev2" else 0.25)


def test_bodies_with_one_joint_between_them_are_asked_nothing_and_said_to_be_neighbours(rider_scene):
    rule = {"between": ["arm", "arm"], "distance": "0.2 m"}
    scene = _scene(rider_scene, required=[*RULED, rule])
    found = _asked(scene, named=(("arm/boom_2", "arm/boom_3"), ("arm/boom_2", "arm/hand"))).at(0.0)
    assert found.why.tolist() == [NEIGHBOURS, RULE]
    np.testing.assert_array_equal(found.required_m, [0.0, 0.2])
    np.testing.assert_allclose(found.left_m, [TOUCH_M, 0.1])


def test_an_answer_goes_on_behind_another(rider_scene):
    asked = _asked(_scene(rider_scene), _granted("ev1/*", "platform/*", 0.2))
    (whole,) = asked.windows(12.0, 15.0)
    both = whole.take(np.array([0, 1])).and_of(whole.take(np.array([4, 2])))
    assert (both.start_s, both.end_s) == (12.0, 15.0)
    for name in ("pairs", "required_m", "why", "granted", "meant", "left_m"):
        np.testing.assert_array_equal(getattr(both, name), getattr(whole, name)[[0, 1, 4, 2]])


def test_what_is_granted_for_all_time_counts_for_what_the_arm_can_move(rider_scene):
    scene = _scene(rider_scene)
    names = [body.name for body in scene.tree.bodies]
    asked = arm_asked(scene, scene.tree, (_granted("ev1/trunk", "platform/wall", 0.1, -np.inf, np.inf),))
    both = zip(asked.pairs, asked.required_m, strict=True)
    found = {frozenset((names[a], names[b])): value for (a, b), value in both}
    assert found[frozenset(CREW_WALL)] == 0.1 and found[frozenset(ARM_WALL)] == 0.6
