"""Routes of a small arm past a post, checked by an engine that shares no code; scripts written anew."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.errors import FrameError, InputError
from armcarry.files.documents.carries import Move
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Cylinder
from armcarry.motion.path import rounded
from armcarry.planning.refuge import ALLOWED_FOR_M
from armcarry.planning.route import find_routes
from armcarry.planning.script import write_with_moves
from armcarry.planning.space import ENOUGH_M, OWN_ENOUGH_M, SINGULAR, STRANDED, ArmSpace
from armcarry.planning.ways import standing
from measures import greatest_rates

REQUIRED = [{"between": [a, "structure"], "distance": "0.3 m"} for a in ("arm", "rider")]


def _scene(rider_scene, moves, bodies, **more):
    script = {"carries": [{"name": "swing", "moves": moves}], "start": {"j1": "0 deg"}}
    return rider_scene({}, bodies, rules={"required": REQUIRED}, script=script, **more)


def _post(x, y, height=1.6):
    return Body("post", "yard", Cylinder(0.1, height), poses.from_xyz_rpy((x, y, height / 2), (0, 0, 0)))


def _at_angle(radius, degrees, height=1.6):
    return _post(radius * np.cos(np.radians(degrees)), radius * np.sin(np.radians(degrees)), height)


@pytest.fixture
def swing(rider_scene):
    """A quarter turn, the post in the middle of it."""
    move = {"to_joints": {"j1": "100 deg"}, "name": "over", "say": "Over"}
    return _scene(rider_scene, [move], [_at_angle(2.6, 50, 2.0)])


def test_a_swing_through_a_post_is_led_round_it(swing, pinocchio_engine):
    (stretch,) = find_routes(swing, seed=1)
    assert stretch.script_m < 0
    assert stretch.better
    assert stretch.route_m > 0
    (move,) = stretch.moves
    assert (move["name"], move["say"]) == ("over", "Over")
    assert stretch.outcome == "new, more room"
    tree = swing.tree
    owner = [body.name.split("/")[0] for body in tree.bodies]
    post, rows = owner.index("platform"), range(len(owner))
    pairs = [(post, row) for row in rows if owner[row] in ("arm", "ev1", "restraint")]
    engine = pinocchio_engine(tree, pairs)
    at = swing.position[swing.arm_columns]
    np.testing.assert_allclose(stretch.way.points[0], at)
    points = [np.radians([float(settings[f"j{k}"].split()[0]) for k in range(1, 7)])
              for settings in (*move["via"], move["to_joints"])]
    assert np.degrees(points[-1]) == pytest.approx([100, *np.degrees(at)[1:]], abs=1e-3)
    least = np.inf
    for arm in rounded(swing.arm_joints, [at, *points]).at(np.linspace(0, 1, 1000)):
        full = swing.position.copy()
        full[swing.arm_columns] = arm
        least = min(least, min(engine.distances(full)))
    assert least - 0.3 >= stretch.route_m - 1e-4
    assert min(least - 0.3, ENOUGH_M) < stretch.route_m + 0.05


def test_what_is_written_flies_the_way_that_was_found(swing):
    from armcarry.timeline.carry import run_carries

    (stretch,) = find_routes(swing, seed=1)
    carry = swing.loaded.scenario.carries[0].model_copy(update={"moves": [Move.model_validate(stretch.moves[0])]})
    scenario = swing.loaded.scenario.model_copy(update={"carries": [carry]})
    run = run_carries(replace(swing, loaded=replace(swing.loaded, scenario=scenario)))
    assert run.motion.duration_s == pytest.approx(stretch.route_s, rel=1e-6)
    middle = run.motion.at(run.motion.duration_s / 2)[swing.arm_columns]
    path = rounded(swing.arm_joints, stretch.way.points).at(np.linspace(0, 1, 4000))
    assert np.abs(path - middle).max(axis=1).min() < 2e-3
    rates, accelerations = greatest_rates(run.motion)
    space = ArmSpace(swing, swing.tree, swing.position)
    assert np.all(rates[swing.arm_columns] <= space.rates * (1 + 1e-9))
    assert np.all(accelerations[swing.arm_columns] <= space.accelerations * (1 + 1e-9))


def test_a_joint_that_slides_is_written_in_metres(rider_scene):
    move = {"to_joints": {"j1": "100 deg", "j5": "0.2 m"}, "name": "over"}
    (stretch,) = find_routes(_scene(rider_scene, [move], [_at_angle(2.6, 50, 2.0)], slides=("j5",)), seed=1)
    written = stretch.moves[0]["to_joints"]
    assert written["j5"] == "0.200000 m" and written["j1"] == "100.0000 deg"
    assert Move.model_validate(stretch.moves[0]).to_joints["j5"] == pytest.approx(0.2)


def test_the_same_seed_gives_the_same_route(swing):
    first, again = find_routes(swing, seed=5), find_routes(swing, seed=5)
    assert first[0].as_dict() == again[0].as_dict()
    assert first[0].moves == again[0].moves


def test_margins_of_segments_agree_with_the_independent_engine(swing, pinocchio_engine):
    space = ArmSpace(swing, swing.tree, swing.position)
    space.least_singular = 0.0
    source = np.random.default_rng(4)
    home = swing.position[swing.arm_columns]
    starts, ends = home + source.normal(0, 0.3, (8, 6)), home + source.normal(0, 0.3, (8, 6))
    ends[:, 0] += 0.8
    bends = source.normal(0, 0.1, starts.shape)
    found = space.margins(np.stack([starts, ends - starts - bends, bends], axis=1))
    engine = pinocchio_engine(swing.tree, space.pairs)
    for k in range(8):
        full = np.repeat(swing.position[None], 300, axis=0)
        t = np.linspace(0, 1, 300)[:, None]
        full[:, swing.arm_columns] = starts[k] + t * (ends[k] - starts[k] - bends[k]) + t * t * bends[k]
        spare = np.array([np.maximum(engine.distances(q), 0) - space.asked_m for q in full])
        # pairs that only the posture sets have enough at 5 cm
        own = spare[:, ~space.around].min()
        sampled = min(spare[:, space.around].min(), own * ENOUGH_M / OWN_ENOUGH_M if own > 0 else own, ENOUGH_M)
        assert found.lower_m[k] <= sampled + 1e-5
        assert found.lower_m[k] >= sampled - 0.02 * ENOUGH_M / OWN_ENOUGH_M
        assert found.lower_m[k] >= sampled - 0.02 or own < OWN_ENOUGH_M


def test_a_place_where_the_arm_loses_a_direction_of_motion_has_no_margin(swing):
    from armcarry.motion.jacobian import smallest_singular_value

    space = ArmSpace(swing, swing.tree, swing.position)
    home = swing.position[swing.arm_columns][None]
    length = swing.loaded.arm.document.characteristic_length
    value = smallest_singular_value(space.chain, home, length_m=length)[0]
    assert value < space.least_singular  # the arm of the tests starts stretched out
    found = space.margins(standing(home))
    assert found.pair[0] == SINGULAR
    assert found.lower_m[0] == pytest.approx(value - space.least_singular)
    space.allow(home)
    assert space.margins(standing(home)).lower_m[0] >= 0.0


@pytest.mark.parametrize(("start", "end"), [(1.1, -0.4), (0.4, -1.1), (1.2, 0.3), (-0.2, -0.9)])
def test_a_way_that_stretches_the_elbow_between_the_places_looked_at_has_no_margin(swing, start, end):
    space = ArmSpace(swing, swing.tree, swing.position)
    space.least_singular = 0.02
    bent = np.radians([0.0, 40.0, 0.0, 50.0, 30.0, 0.0])
    arc = np.zeros((1, 3, 6))
    arc[0, 0] = bent
    arc[0, 0, 2], arc[0, 1, 2] = start, end - start
    spare = space._singular(arc)[0]
    assert (spare < 0) == (start * end < 0)
    assert (space._singular(standing(arc[:, 0]))[0] > 0) and (space._singular(standing(arc.sum(axis=1)))[0] > 0)


def test_a_rider_is_not_led_farther_from_handrails_than_the_tether_reaches():
    from armcarry.scene.build import build_scene

    scene = build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))
    space = ArmSpace(scene, scene.tree, scene.position)
    space.least_singular = 0.0
    source = np.random.default_rng(2)
    points = scene.position[scene.arm_columns] + source.normal(0, 1.0, (200, len(scene.arm_columns)))
    stranded = space.margins(standing(points)).pair == STRANDED
    assert 5 < stranded.sum() < 195
    # point by point, by the code of the check
    from armcarry.motion.forward import forward
    from armcarry.timeline.handrails import rails_of

    rails = rails_of(scene.loaded.platform.document, scene.tree, scene.position)
    member, tether = scene.loaded.crew["ev1"], scene.loaded.rules.tether_reach
    links = [f"ev1/{link}" for link in member.document.shoulders]
    for point, far in zip(points, stranded, strict=True):
        full = scene.position.copy()
        full[scene.arm_columns] = point
        shoulders = forward(scene.tree, full, links)[:, :3, 3]
        apart = min(np.linalg.norm(rail.point(rail.nearest(p)) - p) for rail in rails for p in shoulders)
        if far:
            assert apart - member.size.reach.one_hand > tether - ALLOWED_FOR_M
    space.stranded_m = -1.0  # a metre nearer, but no nearer than a script's own ends
    within = points[space._refuge.spare_m(points) >= 0.0]
    space.allow(within)
    assert -1.0 < space.stranded_m <= 0.0
    assert not np.any(space.margins(standing(within)).pair == STRANDED)
    space.allow(points)
    assert not np.any(space.margins(standing(points)).pair == STRANDED)


def test_a_free_swing_is_left_as_it_is(rider_scene):
    scene = _scene(rider_scene, [{"to_joints": {"j1": "60 deg"}}], [_post(-3.0, 0.0)])
    (stretch,) = find_routes(scene)
    assert not stretch.better
    assert stretch.reason == ""
    assert stretch.row()[-1] == "as scripted"


def test_stretches_end_at_holds_and_at_moves_with_relaxations(rider_scene):
    relaxed = {"one_joint": {"j5": "5 deg"},
               "relax": [{"bodies": ["ev1/*", "platform/post"], "required": "0.1 m", "why": "near"}]}
    moves = [{"to_joints": {"j1": "20 deg"}}, {"one_joint": {"j1": "40 deg"}}, {"hold": "5 s"},
             {"one_joint": {"j1": "30 deg"}}, relaxed, {"one_joint": {"j1": "10 deg"}}]
    found = find_routes(_scene(rider_scene, moves, [_post(-3.0, 0.0)]))
    assert [(stretch.first, stretch.count) for stretch in found] == [(0, 2), (3, 1), (5, 1)]


def test_a_goal_that_is_too_near_is_named_with_what_it_lacks(rider_scene):
    scene = _scene(rider_scene, [{"to_joints": {"j1": "90 deg"}, "name": "there"}], [_at_angle(3.3, 90, 6.0)])
    (stretch,) = find_routes(scene)
    assert not stretch.better
    assert stretch.reason.startswith("none: platform/post to ")
    assert "lacks" in stretch.reason
    assert "of 0.300 m on its goal" in stretch.reason
    assert stretch.reason.endswith(
        "no appendage state nor the vehicle's absence opens it; try another base station (armcarry stations) or goal"
    )
    assert stretch.row()[2] == "none"


def test_the_state_that_opens_a_way_is_named(rider_scene):
    from armcarry.files.documents.platform import Appendage
    from armcarry.geometry.model import Joint
    from armcarry.scene.build import build_scene

    scene = _scene(rider_scene, [{"to_joints": {"j1": "90 deg"}, "name": "there"}], [])
    states = {"shut": {"gate_slide": "0 m"}, "open": {"gate_slide": "8 m"}}
    gate = Appendage.model_validate({"joints": ["gate_slide"], "turning_time": "10 s", "states": states})
    document = scene.loaded.platform.document.model_copy(update={"appendages": {"gate": gate}})
    at = poses.from_xyz_rpy((0, 3.3, 1.5), (0, 0, 0))
    slide = Joint("gate_slide", "prismatic", "yard", "gate", at, np.array([0.0, 1.0, 0.0]), 0.0, 9.0)
    model = scene.loaded.platform.model
    model = replace(model, links=(*model.links, "gate"), joints=(*model.joints, slide),
                    bodies=(Body("gate", "gate", Box((2.0, 0.2, 3.0)), poses.identity()),))
    loaded = replace(scene.loaded, platform=replace(scene.loaded.platform, document=document, model=model))
    (stretch,) = find_routes(build_scene(loaded))
    assert "lacks" in stretch.reason
    assert stretch.reason.endswith("on its goal; it opens with gate open")


def test_a_move_beyond_reach_says_how_far_short_it_is(rider_scene):
    goal = {"to_pose": {"frame": "platform/yard", "position": ["40 m", "0 m", "1 m"]}, "name": "far"}
    (stretch,) = find_routes(_scene(rider_scene, [goal], [_post(-3.0, 0.0)]))
    assert "far is not reached" in stretch.reason
    assert "armcarry stations" in stretch.reason
    assert stretch.as_dict()["route_m"] is None


def test_wrong_names_are_refused(swing, rider_scene):
    with pytest.raises(FrameError, match="carry with moves of its own"):
        find_routes(swing, carry="swung")
    with pytest.raises(InputError, match="the scenario has no carry with moves of its own"):
        find_routes(rider_scene({}, sites=0))


# -- scripts --------------------------------------------------------------------------------------------------


def _long(folder):
    """Write the demo carry as a script whose moves are its own."""
    path = folder / "long.yaml"
    write_with_moves(scenarios_folder() / "pump_box_to_bay_7.yaml", path, {}, "")
    return path


def test_of_a_script_by_intent_the_long_form_is_written_with_the_moves_where_they_belong(tmp_path):
    source, target = scenarios_folder() / "pump_box_to_bay_7.yaml", tmp_path / "new.yaml"
    before = load_scenario(source).scenario.carries[0].moves
    moves = [{"name": "by_1", "to_joints": {"elbow_bend": "90.0000 deg"}}]
    write_with_moves(source, target, {"box_to_bay_7": [(9, 2, moves)]}, "a note")
    after = load_scenario(target).scenario.carries[0].moves
    assert [move.name for move in before[9:11]] == ["along", "down"]
    assert [move.name for move in after] == [move.name for move in [*before[:9], after[9], *before[11:]]]
    assert (after[9].name, list(after[9].to_joints)) == ("by_1", ["elbow_bend"])


def test_a_script_keeps_all_but_the_moves_replaced(tmp_path):
    source, target = _long(tmp_path), tmp_path / "new.yaml"
    source_lines = source.read_text().splitlines()
    moves = [{"name": "by_1", "to_joints": {"elbow_bend": "90.0000 deg"}},
             {"name": "in_front", "to_joints": {"elbow_bend": "80.0000 deg"}}]
    write_with_moves(source, target, {"box_to_bay_7": [(9, 3, moves)]}, "a note")
    lines = target.read_text().splitlines()
    new = [line for line in lines if line not in source_lines]
    assert [line.strip() for line in new] == [
        "step: by_1",  # a picture is shown at the move in place of the one that is gone
        "# a note", "- name: by_1", "to_joints: {elbow_bend: 90.0000 deg}", "- name: in_front",
        "to_joints: {elbow_bend: 80.0000 deg}",
    ]
    gone = [line for line in source_lines if line not in lines]
    assert [line.strip() for line in gone if "name:" in line] == ["name: along", "name: down", "name: put_in_1"]
    assert load_scenario(target).scenario.carries[0].moves[9].name == "by_1"


def test_a_picture_of_a_move_that_is_gone_without_a_name_in_its_place_is_asked_for_no_more(tmp_path):
    target = tmp_path / "new.yaml"
    moves = {"box_to_bay_7": [(9, 1, [{"to_joints": {"elbow_bend": "90.0000 deg"}}])]}
    write_with_moves(_long(tmp_path), target, moves, "a note")
    assert "way_to_bay_7" not in target.read_text() and load_scenario(target)


def test_the_script_itself_is_not_overwritten(tmp_path):
    path = tmp_path / "a.yaml"
    path.write_text("carries: []\n")
    with pytest.raises(InputError, match="a route is written to a new file, the script stays as it is"):
        write_with_moves(path, path, {}, "")
