"""Places grant less to whoever is there, to nobody else, and never at an instant at which they are farther away."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.asked import zones
from armcarry.asked.places import patterns_of, places_of
from armcarry.asked.zones import Here, along_rails, granted
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward

NEAR = {"who": "whole", "to": "wall", "at_least": "0.1 m", "why": "hands work"}
WALL = Body("wall", "yard", Sphere(0.1), poses.translation((3.0, 0.0, 0.0)))
LOAD = Body("box", "base", Sphere(0.1), poses.identity())


def _site(within="1.5 m", **near):
    return {"worksites": {"site": {"title": "s", "stand": "stand", "within": within, "near": [NEAR | near]}}}


def _scene(rider_scene, stand=(0.0, 0.0, 0.0), platform=None, frames=None, **more):
    frames = {"there": poses.translation((9.0, 0.0, 0.0)), **(frames or {})}
    platform = platform or _site()
    scene = rider_scene({}, (WALL,), stand=poses.translation(stand), frames=frames, platform=platform, **more)
    (suit,) = {id(member.document): member.document for member in scene.loaded.crew.values()}.values()
    suit = suit.model_copy(update={"groups": {"whole": ["*"]}})
    crew = {name: replace(member, document=suit) for name, member in scene.loaded.crew.items()}
    return replace(scene, loaded=replace(scene.loaded, crew=crew))


def _at_the_stand(rider_scene, **more):
    """Return a scene in which ev1, on the arm, has the boots on the stand."""
    scene = _scene(rider_scene)
    return _scene(rider_scene, stand=tuple(scene.tree.pose_of("ev1/boots", scene.position)[:3, 3]), **more)


def _moving(scene, rates, lasting_s=60.0):
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    table[0, 1, scene.arm_columns] = rates
    return Motion(scene.tree.joints, np.array([0.0, lasting_s]), table)


def _run(scene, motion):
    return granted(scene, [(scene.tree, motion.start_s, motion.end_s)], motion)


@pytest.mark.parametrize("seed", range(6))
def test_granted_only_while_the_boots_are_within_reach_and_all_of_that_time(rider_scene, seed):
    draw = np.random.default_rng(seed)
    rates = draw.uniform(-0.03, 0.03, 6)
    scene = _at_the_stand(rider_scene)
    motion = _moving(scene, rates)
    middle = forward(scene.tree, motion.at([20.0]), ["ev1/boots"])[0, 0, :3, 3]
    scene = _scene(rider_scene, stand=tuple(middle + draw.uniform(-0.8, 0.8, 3)))
    stand = scene.tree.pose_of("platform/stand", scene.position)[:3, 3]
    times = np.linspace(0.0, 60.0, 6001)
    boots = forward(scene.tree, motion.at(times), ["ev1/boots"])[:, 0, :3, 3]
    apart = np.linalg.norm(boots - stand, axis=1)
    inside = np.zeros(len(times), dtype=bool)
    for item in _run(scene, motion):
        inside |= (times >= item.start_s) & (times <= item.end_s)
    assert np.all(apart[inside] <= 1.5 + 1e-9)
    assert np.all(inside[apart < 1.5 - 0.02])
    assert inside.any()


def test_only_who_is_there_is_granted_anything_and_only_near_what_is_named(rider_scene):
    scene = _at_the_stand(rider_scene, worker_at="platform/there")
    (item,) = _run(scene, _moving(scene, 0.0))
    assert (item.pattern_a, item.pattern_b, item.required_m) == ("ev1/*", "platform/wall", 0.1)
    assert (item.place, item.why, item.start_s, item.end_s) == ("site", "hands work", 0.0, 60.0)


def test_who_is_inside_is_nowhere_else(rider_scene):
    scene = _scene(rider_scene, stand=(9.0, 0.0, 0.0), worker_at="platform/there")
    assert [item.pattern_a for item in _run(scene, _moving(scene, 0.0))] == ["ev2/*"]
    hatch = _site() | {"airlock": "there"}
    scene = _scene(rider_scene, stand=(9.0, 0.0, 0.0), worker_at="platform/there", platform=hatch)
    assert _run(scene, _moving(scene, 0.0)) == ()


def test_some_things_are_granted_only_while_the_arm_stands_still(rider_scene):
    scene = _at_the_stand(rider_scene, platform=_site(arm_still=True, within="9 m"))
    rates = np.zeros(6)
    assert len(_run(scene, _moving(scene, rates))) == 1
    rates[0] = 0.001
    moving, still = _moving(scene, rates, 10.0), _moving(scene, 0.0, 30.0)
    assert _run(scene, moving) == ()
    both = np.concatenate([moving.coefficients, still.coefficients])
    (item,) = _run(scene, Motion(scene.tree.joints, np.array([0.0, 10.0, 30.0]), both))
    assert (item.start_s, item.end_s) == (10.0, 30.0)


def test_a_stay_over_several_phases_is_granted_as_one(rider_scene):
    scene = _at_the_stand(rider_scene)
    tree, motion = scene.tree, _moving(scene, 0.0)
    found = granted(scene, [(tree, 0.0, 20.0), (tree, 20.0, 20.0), (tree, 20.0, 60.0)], motion)
    assert [(item.start_s, item.end_s) for item in found] == [(0.0, 60.0)]
    assert found == _run(scene, motion)  # in all it says
    apart = granted(scene, [(tree, 0.0, 20.0), (tree, 30.0, 60.0)], motion)
    assert [(item.start_s, item.end_s) for item in apart] == [(0.0, 20.0), (30.0, 60.0)]


@pytest.mark.parametrize(("far_end", "who"), [((9.0, 4.0, 0.3), ["ev2/*"]), ((9.0, -1.0, 0.3), [])])
def test_a_line_holds_along_all_of_it_and_not_beyond(rider_scene, far_end, who):
    zone = {"frame": "near_end", "end": "far_end", "within": "0.5 m", "near": [NEAR]}
    frames = {"near_end": poses.translation((9.0, -4.0, 0.3)), "far_end": poses.translation(far_end)}
    platform = {"zones": {"track": zone}, "worksites": {}}
    scene = _scene(rider_scene, frames=frames, platform=platform, worker_at="platform/there")
    assert [item.pattern_a for item in _run(scene, _moving(scene, 0.0))] == who


def test_words_of_who_speak_of_groups_bodies_restraint_and_load():
    groups = {"hands": ["glove_*"], "legs": ["boot_*", "shin_*"]}
    assert patterns_of("ev1", groups, (), "hands|legs") == "ev1/glove_*|ev1/boot_*|ev1/shin_*"
    assert patterns_of("ev1", groups, ("box", "bag"), "load") == "box/*|bag/*"
    assert patterns_of("ev1", groups, ("box",), "hands|load") == "ev1/glove_*|box/*"
    assert patterns_of("ev1", groups, (), "load") == ""
    assert patterns_of("ev1", groups, ("box",), "helmet|restraint") == "ev1/helmet"
    assert patterns_of("restraint", None, (), "helmet|restraint") == "restraint/*"
    assert patterns_of("deck", None, (), "helmet|load") == ""


def test_what_a_rider_holds_is_granted_as_load(rider_scene):
    scene = _at_the_stand(rider_scene, platform=_site(who="load"), held=(LOAD,))
    assert [item.pattern_a for item in _run(scene, _moving(scene, 0.0))] == ["load/*"]


def test_a_scene_whose_places_say_nothing_grants_nothing(rider_scene):
    scene = rider_scene({}, ())
    assert places_of(scene) == ()
    assert _run(scene, _moving(scene, 0.0)) == ()


def test_what_is_granted_here_and_now_is_what_is_granted_over_time(rider_scene):
    scene = _at_the_stand(rider_scene, worker_at="platform/there")
    motion = _moving(scene, np.array([0.02, 0.0, 0.0, 0.0, 0.0, 0.0]))
    over, here = _run(scene, motion), Here(scene, scene.tree)
    (item,) = over
    for time in np.linspace(0.0, 60.0, 25):
        if abs(time - item.end_s) > 0.1:
            now = here.at(motion.at(time), still=False)
            assert [one.pattern_a for one in now] == (["ev1/*"] if time < item.end_s else [])
    assert here.at(scene.position, nearer_m=0.5)
    assert not here.at(motion.at(item.end_s - 0.5), nearer_m=0.5)


def test_what_needs_the_arm_to_stand_is_not_granted_here_while_it_moves(rider_scene):
    scene = _at_the_stand(rider_scene, platform=_site(arm_still=True))
    here = Here(scene, scene.tree)
    assert here.at(scene.position)
    assert not here.at(scene.position, still=False)


def test_a_restraint_that_is_there_is_granted_what_is_said_of_it(rider_scene):
    scene = _at_the_stand(rider_scene, platform=_site(who="restraint"))
    assert [item.pattern_a for item in _run(scene, _moving(scene, 0.0))] == ["restraint/*"]


def test_a_thing_in_somebodys_hands_grants_them_nothing(rider_scene):
    held = {"hardware": {"load": {"model": "load", "at": "ev2/hands"}}}
    scene = _scene(
        rider_scene, worker_at="platform/there", held=(LOAD,), script=held, load={"near": [NEAR], "within": "1 m"}
    )
    assert "load" in {place.name for place in places_of(scene)}
    assert "load" not in {item.place for item in _run(scene, _moving(scene, 0.0))}


def test_an_item_is_granted_its_seat_by_its_own_base_and_only_while_it_is_loose(rider_scene):
    seat = {"frame": "berth_at", "accepts": ["load"], "within": "0.4 m", "near": [NEAR | {"who": "*"}]}
    platform = {"seats": {"berth": seat}, "worksites": {}}
    bare = _scene(rider_scene, held=(LOAD,))
    base = bare.tree.pose_of("load/base", bare.position)

    def granted_at(at, off_m):
        frames = {"berth_at": base @ poses.translation((off_m, 0.0, 0.0))}
        script = {"hardware": {"load": {"model": "load", "at": at}}}
        scene = _scene(rider_scene, platform=platform, frames=frames, held=(LOAD,), script=script)
        return [(item.pattern_a, item.place) for item in _run(scene, _moving(scene, 0.0))]

    assert granted_at("ev1/hands", 0.39) == [("load/*", "berth")]
    assert granted_at("ev1/hands", 0.41) == []
    assert granted_at("platform/berth_at", 0.0) == []


def test_hands_are_asked_of_a_rail_and_boots_of_a_worksite(rider_scene):
    bare = _scene(rider_scene)
    hands = bare.tree.pose_of("ev1/hands", bare.position)[:3, 3]
    rail = {"handrails": {"rail": {"start": "a", "end": "b", "within": "0.2 m", "near": [NEAR]}}, "worksites": {}}
    for up, who in ((0.19, ["ev1/*"]), (0.21, [])):
        ends = {name: np.add(hands, (along, 0.0, up)) for name, along in (("a", -1.0), ("b", 1.0))}
        frames = {name: poses.translation(end) for name, end in ends.items()}
        scene = _scene(rider_scene, platform=rail, frames=frames)
        assert [item.pattern_a for item in _run(scene, _moving(scene, 0.0))] == who


def test_a_thing_grants_others_something_while_it_stands_and_nobody_while_the_arm_carries_it(rider_scene):
    load = {"near": [NEAR], "within": "9 m"}
    for at, owners in (("platform/there", {"ev1/*", "ev2/*"}), ("ev1/hands", set())):
        script = {"hardware": {"load": {"model": "load", "at": at}}}
        scene = _scene(rider_scene, worker_at="platform/there", held=(LOAD,), script=script, load=load)
        found = {item.pattern_a for item in _run(scene, _moving(scene, 0.0)) if item.place == "load"}
        assert found == owners


def test_what_places_grant_is_told_in_the_order_of_time(rider_scene):
    scene = _at_the_stand(rider_scene)
    tree = scene.tree
    spans = [(tree, 0.0, 10.0), (tree, 20.0, 30.0), (tree, 40.0, 60.0)]
    found = granted(scene, spans, _moving(scene, 0.0))
    assert [(item.start_s, item.end_s) for item in found] == [(0.0, 10.0), (20.0, 30.0), (40.0, 60.0)]
    assert granted(scene, [(tree, 5.0, 5.0)], _moving(scene, 0.0)) == ()


def test_what_was_looked_at_before_is_not_looked_at_again_and_says_the_same(rider_scene, monkeypatch):
    scene, known = _at_the_stand(rider_scene, worker_at="platform/there"), {}
    motion = _moving(scene, np.array([0.02, 0.0, 0.0, 0.0, 0.0, 0.0]))
    phases = [(scene.tree, 0.0, 8.0), (scene.tree, 8.0, 60.0)]
    plain = granted(scene, phases, motion)
    (item,) = plain
    assert 8.0 < item.end_s < 59.0
    assert granted(scene, phases, motion, known) == plain and len(known) == 2
    still = _moving(scene, 0.0)
    held = granted(scene, [(scene.tree, 0.0, 60.0)], still)
    assert granted(scene, [(scene.tree, 0.0, 60.0)], still, known) == held and len(known) == 3
    assert [(one.start_s, one.end_s) for one in held] == [(0.0, 60.0)]
    monkeypatch.setattr(zones, "Drift", None)  # nothing can be looked at any more
    assert granted(scene, phases, motion, known) == plain
    # as long and alike, but later: nothing but the times differs, to the last bit
    later = [(scene.tree, 10.0, 70.0)]
    late = replace(still, breaks_s=still.breaks_s + 10.0)
    (shifted,) = granted(scene, later, late, known)
    assert (shifted.start_s, shifted.end_s) == (10.0, 70.0) and replace(shifted, start_s=0.0, end_s=60.0) == held[0]


def test_handrails_grant_those_who_go_along_them_for_all_time_and_nothing_else_does(rider_scene):
    rail = {"handrails": {"rail": {"start": "a", "end": "b", "within": "0.2 m", "near": [NEAR]}}}
    frames = {name: poses.translation((40.0, along, 0.0)) for name, along in (("a", -1.0), ("b", 1.0))}
    scene = _scene(rider_scene, platform=_site() | rail, frames=frames, worker_at="platform/there")
    found = along_rails(scene, scene.tree)
    assert {item.pattern_a for item in found} == {"ev1/*", "ev2/*"} and {item.place for item in found} == {"rail"}
    assert {(item.start_s, item.end_s, item.required_m) for item in found} == {(-np.inf, np.inf, 0.1)}
