"""Restraint settings: every combination against a plain loop over single poses and single distances."""

import json
from itertools import product

import numpy as np
import pytest

from armcarry.clearance.distance import distance
from armcarry.errors import FrameError, InputError
from armcarry.files.documents.bodies import RestraintDocument
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.planning.choices import HEADINGS
from armcarry.planning.detents import count_words, detents_of
from armcarry.planning.restraint import find_settings, restraint_table
from armcarry.scene.build import hang
from armcarry.scene.reach import hand_margins, sight_margin_m

STAND = poses.from_xyz_rpy((2.0, 1.0, 0.5), (0.1, -0.2, 0.7))


def _before(x, y, z, stand=STAND):
    """A point in the upright rider's trunk frame, hips 0.9 m over the plate."""
    return stand @ poses.translation((x, y, 0.9 + z))


def _box(size, pose, name="wall"):
    return Body(name, "yard", Box(size), pose)


def _setting(low, high, step=15.0):
    return {"joint": "j", "step": f"{step} deg", "lowest": f"{low} deg", "highest": f"{high} deg"}


def _document(**settings):
    return RestraintDocument.model_validate(
        {"format": "armcarry restraint 1", "title": "r", "urdf": "n", "mount": "m", "plate": "p", "settings": settings}
    )


# -- settings ------------------------------------------------------------------------------------------------


def test_settings_are_counted_in_steps_from_neutral():
    detents = detents_of(_document(pitch=_setting(-30, 120), yaw=_setting(-180, 180, 30)))
    assert detents.names == ("pitch", "yaw")
    assert len(detents.counts) == 11 * 13
    assert detents.counts.min(axis=0).tolist() == [-2, -6]
    assert detents.counts.max(axis=0).tolist() == [8, 6]
    np.testing.assert_allclose(detents.angles_rad, np.radians(detents.counts * (15, 30)))
    assert detents.counts[detents.neutral].tolist() == [0, 0]
    assert detents.steps[detents.neutral] == 0


def test_steps_lie_from_the_lowest_angle_and_are_counted_from_the_one_nearest_to_zero():
    document = _document(pitch=_setting(-31, 44.9), roll=_setting(20, 50), bend=_setting(-80, -50))
    detents = detents_of(document)
    by_count = {
        name: dict(zip(detents.counts[:, k].tolist(), np.degrees(detents.angles_rad[:, k]).round(6), strict=True))
        for k, name in enumerate(detents.names)
    }
    assert by_count["pitch"] == {-2: -31.0, -1: -16.0, 0: -1.0, 1: 14.0, 2: 29.0, 3: 44.0}
    assert by_count["roll"] == {0: 20.0, 1: 35.0, 2: 50.0}
    assert by_count["bend"] == {-2: -80.0, -1: -65.0, 0: -50.0}
    assert detents.counts[detents.neutral].tolist() == [0, 0, 0]


def test_counts_are_written_with_their_sign():
    assert count_words({"pitch": 0, "yaw": -2}) == "pitch 0, yaw -2"
    assert count_words({"pitch": 3}, turn_count=2) == "pitch +3, stand turned +2"


# -- the search against a plain loop ---------------------------------------------------------------------------


def _plain(scene, *, clearance_m, place):
    """Try every setting and posture by single poses and single distances: key -> margin, None where refused."""
    crew = scene.loaded.crew["ev1"]
    site = scene.loaded.platform.document.worksites["site"]
    steps = range(-2, 3)
    stand = scene.tree.pose_of("platform/stand", scene.position)
    tree = hang(scene, scene.tree, "ev1", "restraint/plate", scene.position)
    neutral = tree.pose_of("restraint/plate", scene.position, relative_to="restraint/mount")
    results = {}
    for counts in product(steps, steps, steps):
        for posture, joints in crew.document.postures.items():
            q = scene.position.copy()
            for name, count in zip(("roll", "pitch", "yaw"), counts, strict=True):
                q[tree.column(f"restraint/{name}")] = count * np.radians(15)
            q[tree.column("ev1/hips")] = joints.get("hips", 0.0)
            here = tree.pose_of("restraint/plate", q, relative_to="restraint/mount")
            mount = {
                "stand": stand @ poses.inverse(here),
                "tip": stand @ poses.inverse(neutral),
                "socket": tree.pose_of("platform/socket", q) if site.socket else None,
            }[place]
            moved = tree.attach("restraint", "world", mount)
            results[(*counts, posture)] = _judge(scene, moved, q, clearance_m, place)
    return results


def _judge(scene, tree, q, clearance_m, place):
    crew = scene.loaded.crew["ev1"]
    site = scene.loaded.platform.document.worksites["site"]
    points = np.array([tree.pose_of(f"platform/{frame}", q)[:3, 3] for frame in site.work_points.values()])
    shoulders = np.array([tree.pose_of(f"ev1/{link}", q)[:3, 3] for link in crew.document.shoulders])
    margins = hand_margins(crew.size.reach, tree.pose_of("ev1/chest", q), shoulders, points)
    hand = margins.two_hand_m if site.hands == "two" else margins.one_hand_m
    seen = sight_margin_m(tree.pose_of("ev1/visor", q), points, crew.document.view_half_angle)
    margin = min(hand.min(), seen.min())
    if margin < 0:
        return None
    by_name = {body.name: body for body in tree.bodies}
    yard = [body for body in tree.bodies if body.name.startswith("platform/")]
    mine = [by_name["ev1/boots"], by_name["ev1/trunk"], by_name["ev1/helmet"]]
    mine += [body for body in tree.bodies if body.name.startswith("load/")]
    pairs = [(a, b) for a in [*mine, by_name["restraint/slab"]] for b in yard]
    pairs += [(a, by_name["restraint/slab"]) for a in mine[1:]]
    if place != "socket":
        # the arm's hand sits on the mount as its tip does
        hand_pose = tree.pose_of("restraint/mount", q) @ by_name["arm/hand"].pose
        moved = Body("hand", "world", by_name["arm/hand"].shape, hand_pose)
        pairs += [(moved, b) for b in yard] + [(a, moved) for a in mine]
    for a, b in pairs:
        gap = distance(a.shape, _place(tree, q, a), b.shape, _place(tree, q, b)).lower_m - clearance_m
        margin = min(margin, gap)
    return None if margin < 0 else margin


def _place(tree, q, body):
    return tree.pose_of(body.link, q) @ body.pose


@pytest.mark.parametrize("place", ["stand", "tip", "socket"])
@pytest.mark.parametrize("hands", ["one", "two"])
def test_every_choice_is_that_of_a_plain_loop(rider_scene, place, hands):
    points = {"left": _before(0.45, 0.15, 0.45), "right": _before(0.45, -0.15, 0.4)}
    walls = [
        _box((1.0, 0.1, 1.0), _before(0.3, 0.40, 0.5)), _box((0.05, 0.6, 0.3), _before(0.62, 0.0, 0.35), "board"),
        _box((0.2, 0.2, 0.2), _before(0.3, 0.0, -1.25), "locker"),
    ]
    scene = rider_scene(
        points, walls, hands=hands, stand=STAND, socket=STAND @ poses.translation((0.0, 0.0, -0.35)),
        held=[Body("case", "base", Box((0.1, 0.2, 0.1)), poses.translation((0.0, 0.0, -0.2)))],
    )
    plain = {key: value for key, value in _plain(scene, clearance_m=0.03, place=place).items() if value is not None}
    found = find_settings(scene, "site", place=place, clearance_m=0.03, limit=1000, once=False)
    assert found.tried == 5**3 * 2
    got = {(*choice.detents.values(), choice.posture): choice.margin_m for choice in found.choices}
    assert 0 < len(got) < found.in_sight  # some are refused for their clearance
    sure = {key for key, value in plain.items() if value > 1e-4}
    assert sure <= got.keys() <= plain.keys() | {key for key, value in got.items() if value < 1e-4}
    for key in sure:
        assert got[key] == pytest.approx(plain[key], abs=1e-4)
    margins = [np.floor(choice.margin_m * 1000 + 1e-9) for choice in found.choices]
    assert margins == sorted(margins, reverse=True)


def test_a_short_list_is_the_beginning_of_the_long_one(rider_scene):
    points = {"left": _before(0.45, 0.15, 0.45), "right": _before(0.45, -0.15, 0.4)}
    walls = [_box((1.0, 0.1, 1.0), _before(0.3, 0.75, 0.3)), _box((0.05, 0.6, 0.3), _before(0.4, 0.0, 0.2), "board")]
    scene = rider_scene(points, walls, stand=STAND)
    for place in ("stand", "tip"):
        full = find_settings(scene, "site", place=place, limit=1000)
        for limit in (1, 3, 7):
            short = find_settings(scene, "site", place=place, limit=limit)
            assert [(c.detents, c.posture) for c in short.choices] == [
                (c.detents, c.posture) for c in full.choices[:limit]
            ]


def test_among_equal_margins_the_fewest_steps_come_first(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND)
    found = find_settings(scene, "site", postures=["upright"], limit=7, once=False)
    assert [choice.steps for choice in found.choices] == [0, 1, 1, 1, 1, 1, 1]
    assert found.choices[0].detents == {"roll": 0, "pitch": 0, "yaw": 0}
    assert found.choices[0].nearest == ()
    assert found.place == "stand"
    np.testing.assert_allclose(found.choices[0].T_stand_plate, np.eye(4), atol=1e-12)


def test_settings_that_come_to_the_same_are_ranked_once(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND)
    (only,) = find_settings(scene, "site", postures=["upright"], limit=10).choices
    assert only.steps == 0  # on the stand the worker stands the same whatever the settings are
    tilted = find_settings(scene, "site", place="tip", postures=["upright"], limit=10).choices
    told = {(c.T_stand_plate.round(6).tobytes(), c.nearest, int(c.clearance_m * 1e3 + 1e-6)) for c in tilted}
    assert len(told) == len(tilted) > 1


def test_turning_the_stand_turns_the_rider_to_work_at_the_side(rider_scene):
    aside = STAND @ poses.rotation_about((0, 0, 1), np.radians(45)) @ poses.translation((0.5, 0.0, 1.35))
    scene = rider_scene({"work": aside}, stand=STAND)
    still = find_settings(scene, "site", postures=["upright"])
    turned = find_settings(scene, "site", postures=["upright"], turn_counts=range(-4, 5))
    assert turned.choices[0].turn_count == 3
    assert turned.choices[0].steps == 3
    assert turned.tried == 9 * still.tried
    assert not still.choices or still.choices[0].margin_m < turned.choices[0].margin_m
    angle = poses.rotation_vector(turned.choices[0].T_stand_plate)
    np.testing.assert_allclose(angle, (0, 0, np.radians(45)), atol=1e-9)


def test_the_plate_found_in_the_stand_frame_can_be_flown_to(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.1, 0.45)}, stand=STAND)
    best = find_settings(scene, "site", place="tip", limit=40).choices[-1]
    q = scene.position.copy()
    for name, angle in best.settings.items():
        q[scene.tree.column(f"restraint/{name}")] = angle
    mount = STAND @ poses.inverse(
        scene.tree.pose_of("restraint/plate", scene.position, relative_to="restraint/mount")
    )
    plate = mount @ scene.tree.pose_of("restraint/plate", q, relative_to="restraint/mount")
    np.testing.assert_allclose(STAND @ best.T_stand_plate, plate, atol=1e-12)
    assert best.settings["pitch"] == pytest.approx(best.detents["pitch"] * np.radians(15))


def test_a_restraint_that_waits_in_a_socket_is_tried_there(rider_scene):
    socket = STAND @ poses.translation((0.0, 0.0, -0.35))
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND, socket=socket, at="platform/socket")
    assert find_settings(scene, "site", postures=["upright"]).place == "socket"


# -- words -------------------------------------------------------------------------------------------------


def test_the_message_says_what_was_found(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND)
    found = find_settings(scene, "site", limit=2)
    best = found.choices[0]
    assert found.message == (
        f"site: 2 best of 250 settings and postures for ev1 (plain); {found.in_sight} bring all work within "
        f"two-hand reach and into view; best margin {best.margin_m:.3f} m"
    )


def test_choices_can_be_printed_and_written(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, [_box((0.1, 2.0, 3.0), _before(-0.5, 0, 0))], stand=STAND)
    found = find_settings(scene, "site", place="tip", limit=4)
    best = found.choices[0]
    rows = found.rows()
    assert len(rows) == 4
    assert all(len(row) == len(HEADINGS) for row in rows)
    assert rows[0][:4] == ("1", best.words, best.posture, f"{best.margin_m:.3f} m")
    plain = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert plain["choices"][0]["steps_from_neutral"] == best.detents
    assert plain["choices"][0]["points"][0]["name"] == "work"
    assert plain["message"] == found.message
    pose = plain["choices"][1]["plate_in_stand"]
    rebuilt = poses.from_xyz_rpy(pose["position_m"], pose["rotation_rad"])
    np.testing.assert_allclose(rebuilt, found.choices[1].T_stand_plate, atol=1e-9)


def test_a_table_is_made_from_a_scenario_file(tmp_path):
    path = tmp_path / "scenario.yaml"
    path.write_text(
        "format: armcarry scenario 1\ntitle: t\npurpose: t\nplatform: tern_yard\narm: heron\nrules: tern_yard\n"
        "base: {mount: quay}\nrestraint: {}\ncrew:\n  ev1: {posture: carry, at: arm}\n",
        encoding="utf-8",
    )
    found = restraint_table(path, "bay_7", limit=3)
    assert (found.worksite, found.crew, found.size) == ("bay_7", "ev1", "medium")
    assert found.assumed
    assert found.tried > 1000
    assert found.message.startswith("bay_7: ")


def test_work_out_of_reach_names_the_point_and_how_far(rider_scene):
    scene = rider_scene({"near": _before(0.5, 0.0, 0.45), "far": _before(1.4, 0.0, 0.45)}, stand=STAND)
    found = find_settings(scene, "site")
    assert found.choices == ()
    assert found.nearest_miss.margin_m < 0
    assert found.message == (
        "site: none of 250 settings and postures brings all work within two-hand reach and into view; the nearest is "
        f"{-found.nearest_miss.margin_m:.3f} m short of bringing far within reach"
    )


def test_work_out_of_view_says_so(rider_scene):
    # straight ahead of the hips, far below the visor
    scene = rider_scene({"low": _before(0.55, 0.0, 0.12)}, stand=STAND)
    found = find_settings(scene, "site", postures=["upright"], hands="one")
    assert found.in_reach == 125
    assert found.choices == ()
    assert found.message.endswith("m short of bringing low into view")


def test_walls_that_close_in_refuse_every_setting(rider_scene):
    wall = _box((0.1, 2.0, 3.0), _before(-0.18, 0.0, 0.0))
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, [wall], stand=STAND)
    found = find_settings(scene, "site", postures=["upright"], clearance_m=0.05)
    assert found.choices == ()
    assert found.measured == found.too_close == found.in_sight == 125
    assert found.in_the_way == ("ev1/boots", "platform/wall")
    assert found.message == (
        "site: 125 of 125 settings and postures bring all work within two-hand reach and into view, but each has a "
        "body closer than 0.050 m, most often ev1/boots to platform/wall"
    )


@pytest.mark.parametrize(
    ("arguments", "error", "words"),
    [
        ({"worksite": "sight"}, FrameError, "no worksite named 'sight'; did you mean 'site'?"),
        ({"crew": "ev2"}, FrameError, "no crewmember named 'ev2'; did you mean 'ev1'?"),
        ({"postures": ["uprigth"]}, FrameError, "no posture named 'uprigth'; did you mean 'upright'?"),
        ({"place": "socket"}, InputError, "worksite 'site' has no socket for a restraint; accepted: place"),
        ({"postures": []}, InputError, "nothing to try; accepted: one posture, one turn count and a limit of 1"),
        ({"turn_counts": ()}, InputError, "nothing to try"),
        ({"limit": 0}, InputError, "nothing to try"),
    ],
)
def test_what_cannot_be_searched_is_refused(rider_scene, arguments, error, words):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND)
    with pytest.raises(error) as caught:
        find_settings(scene, **{"worksite": "site", **arguments})
    assert str(caught.value).startswith(words)


def test_a_turn_at_a_socket_is_refused(rider_scene):
    scene = rider_scene({"work": _before(0.5, 0.0, 0.45)}, stand=STAND, socket=STAND)
    with pytest.raises(InputError, match="a restraint in a socket cannot be turned about the stand's normal"):
        find_settings(scene, "site", place="socket", turn_counts=(0, 1))


def test_a_worksite_without_work_is_refused(rider_scene):
    with pytest.raises(InputError, match="worksite 'site' has no work points to bring before the hands"):
        find_settings(rider_scene({}, stand=STAND), "site")


def test_settings_with_which_the_arm_reaches_the_worksite_go_first(tmp_path):
    path = tmp_path / "scenario.yaml"
    path.write_text(
        "format: armcarry scenario 1\ntitle: t\npurpose: t\nplatform: tern_yard\narm: heron\nrules: tern_yard\n"
        "base: {mount: trolley, station: 11 m}\nrestraint: {}\ncrew:\n  ev1: {posture: carry, at: arm}\n"
        "carts: {cart_1: 16.2 m, cart_2: -14.2 m}\n",
        encoding="utf-8",
    )
    found = restraint_table(path, "bay_7", limit=2)
    # at 0 the boots would stand on the end of the arm, which cannot be there
    assert [choice.arm.startswith("reaches it, ") for choice in found.choices] == [True, True]
    assert all(any(choice.detents.values()) for choice in found.choices)
    assert found.rows()[0][HEADINGS.index("arm")] == found.choices[0].arm
