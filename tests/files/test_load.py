"""Scenarios with everything they name: what loads, what is kept, and every cross-check with file and line."""

import hashlib
import json

import numpy as np
import pytest

from armcarry.errors import InputError, InputErrors
from armcarry.files.load import load_scenario, validate_files


def _message(world, pattern=""):
    with pytest.raises(InputError) as caught:
        load_scenario(world / "script.yaml")
    return str(caught.value)


def _write_copy(loaded, folder):
    for item in loaded.inputs:
        path = folder / item.role_path
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(item.data)
    return folder / "scenario.yaml"


def test_a_scenario_loads_with_everything_it_names(world):
    loaded = load_scenario(world / "script.yaml")
    assert loaded.scenario.title == "a small carry"
    assert loaded.platform.model.name == "deck"
    assert loaded.vehicle_model is not None
    assert [body.body_class for body in loaded.vehicle_model.bodies] == ["vehicle"]
    assert {body.name: body.body_class for body in loaded.platform.model.bodies} == {
        "deck": "structure",
        "cart": "structure",
        "wing": "appendage",
    }
    assert set(loaded.crew) == {"ev1", "ev2"}
    assert loaded.crew["ev1"].size.mass == 200.0
    assert loaded.crew["ev1"].model is loaded.crew["ev2"].model
    assert {body.body_class for body in loaded.crew["ev1"].model.bodies} == {"worker"}
    assert loaded.hardware["box"].document.handhold == "grip"
    assert loaded.restraint is not None
    assert loaded.arm.document.loads["free"].joint_rate["default"] == pytest.approx(np.radians(2.0), abs=1e-15)
    assert loaded.rules.safe_return == 1800.0
    assert loaded.scenario.carries[0].moves[7].hold == 5400.0


def test_an_absent_vehicle_is_not_in_the_scene(world, change):
    change("script.yaml", "vehicle: docked", "vehicle: absent")
    change("script.yaml", "vehicle/hull", "platform/dock")
    change("script.yaml", '"vehicle/*"', '"platform/*"')
    assert load_scenario(world / "script.yaml").vehicle_model is None


def test_every_file_is_kept_with_its_digest(world):
    loaded = load_scenario(world / "script.yaml")
    roles = {item.role_path for item in loaded.inputs}
    assert {
        "scenario.yaml",
        "inputs.json",
        "models/arms/small/small.yaml",
        "models/arms/small/small.urdf",
        "models/platforms/deck/visitor.urdf",
        "models/rules/plain/plain.yaml",
    } <= roles
    assert len(roles) == len(loaded.inputs)
    for item in loaded.inputs:
        assert item.sha256 == hashlib.sha256(item.data).hexdigest()
        if item.role_path not in ("inputs.json",):
            assert item.data == item.path.read_bytes()


def test_a_copy_of_the_inputs_loads_alone_and_is_the_same(world, tmp_path_factory):
    loaded = load_scenario(world / "script.yaml")
    again = load_scenario(_write_copy(loaded, tmp_path_factory.mktemp("copy")))
    assert again.scenario == loaded.scenario
    assert [(item.role_path, item.sha256) for item in again.inputs] == [
        (item.role_path, item.sha256) for item in loaded.inputs
    ]
    assert again.assumptions == loaded.assumptions
    assert again.arm.document == loaded.arm.document


def test_a_model_named_by_path_is_copied_too(world, change, tmp_path_factory):
    other = world / "mine"
    (world / "models/hardware/box").rename(other)
    change("script.yaml", "box: {model: box,", "box: {model: mine/box.yaml,")
    loaded = load_scenario(world / "script.yaml")
    assert "models/hardware/box/box.urdf" in {item.role_path for item in loaded.inputs}
    copy = _write_copy(loaded, tmp_path_factory.mktemp("copy"))
    assert load_scenario(copy).hardware["box"].document == loaded.hardware["box"].document


def test_two_models_of_one_file_name_do_not_overwrite_each_other_in_the_copy(world, change, tmp_path_factory):
    for folder in ("one", "two"):
        (world / folder).mkdir()
        for suffix in ("yaml", "urdf"):
            text = (world / f"models/hardware/box/box.{suffix}").read_text()
            (world / folder / f"box.{suffix}").write_text(text.replace("30 kg", "31 kg") if folder == "two" else text)
    change(
        "script.yaml",
        "  box: {model: box, at: platform/seat}\n",
        "  box: {model: one/box.yaml, at: platform/seat}\n  other: {model: two/box.yaml, at: platform/deck}\n",
    )
    loaded = load_scenario(world / "script.yaml")
    copy = load_scenario(_write_copy(loaded, tmp_path_factory.mktemp("copy")))
    assert [item.document.mass for item in copy.hardware.values()] == [30.0, 31.0]


def test_a_changed_copy_is_refused(world, tmp_path_factory):
    copy = _write_copy(load_scenario(world / "script.yaml"), tmp_path_factory.mktemp("copy"))
    urdf = copy.parent / "models/arms/small/small.urdf"
    urdf.write_text(urdf.read_text().replace("0 0 1", "0 0 2", 1))
    with pytest.raises(
        InputError, match=r"small\.urdf: this copy of an input was changed after the run.*delete inputs"
    ):
        load_scenario(copy)


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (lambda m: {**m, "format": "x"}, "inputs.json: not a whole list of inputs; accepted: format armcarry inputs 1"),
        (lambda m: [], "inputs.json: not a whole list of inputs"),
        (lambda m: {**m, "models": {**m["models"], "arms": {}}}, "names no 'small' among arms"),
        (lambda m: {**m, "models": {**m["models"], "arms": {"small": "../a.yaml"}}}, "a model without a digest"),
        (lambda m: {**m, "sha256": {"../x": "0"}}, "a path that leads out of this folder; found '../x'"),
        (lambda m: {**m, "sha256": {**m["sha256"], "gone.txt": "0"}}, "gone.txt: no such input file"),
    ],
)
def test_a_damaged_list_of_inputs_is_refused(world, tmp_path_factory, edit, message):
    copy = _write_copy(load_scenario(world / "script.yaml"), tmp_path_factory.mktemp("copy"))
    manifest = copy.parent / "inputs.json"
    manifest.write_text(json.dumps(edit(json.loads(manifest.read_text()))))
    with pytest.raises(InputError) as caught:
        load_scenario(copy)
    assert message in str(caught.value)


def test_every_number_without_a_source_is_an_assumption(world, change):
    found = {(item.file, item.key): item.text for item in load_scenario(world / "script.yaml").assumptions}
    assert found["models/hardware/box/box.yaml", "mass"] == "30 kg"
    assert found["models/hardware/box/box.yaml", "urdf"] == "all dimensions in box.urdf"
    assert found["models/crew/body/body.yaml", "sizes.medium.urdf"] == "all dimensions in body.urdf"
    assert found["models/rules/plain/plain.yaml", "required[0].distance"] == "0.6 m"
    assert found["models/rules/plain/plain.yaml", "margins.smallest_singular_value"] == "0.05"
    assert ("models/rules/plain/plain.yaml", "title") not in found
    change("models/hardware/box/box.yaml", "mass: 30 kg", "mass: 30 kg\nsources: {mass: weighed}")
    change("models/rules/plain/plain.yaml", "title: plain", "title: plain\nbasis: published")
    change(
        "models/crew/body/body.yaml", "title: body", "title: body\nsources: {postures: a book, sizes.medium: a book}"
    )
    fewer = {(item.file, item.key) for item in load_scenario(world / "script.yaml").assumptions}
    assert set(found) - fewer == {key for key in found if "rules" in key[0]} | {
        ("models/hardware/box/box.yaml", "mass"),
        *(key for key in found if "crew" in key[0] and key[1].startswith(("postures.", "sizes.medium."))),
    }


#: text in the script -> replacement, and what is told after file and line
SCRIPT_PROBLEMS = [
    ("platform: deck", "platform: dekc", "no model named 'dekc' among platforms; accepted: deck"),
    ("platform: deck", "platform: x/deck.yaml", "no file at this path, which is taken relative to this file"),
    ("platform: deck", "platform: /deck.yaml", "neither the name of a model nor a relative path to a YAML file"),
    ("rules: plain", "rules: models/arms/small/small.yaml", "'models/arms/small/small.yaml' is a file of another kind"),
    ("mount: fixed", "mount: fixt", "no mount named 'fixt'; accepted: fixed (nearest), or one of: fixed, rolling"),
    ("mount: fixed", "mount: fixed, station: 1 m", "mount 'fixed' does not travel; accepted: no station"),
    (
        "mount: fixed",
        "mount: rolling, station: 6 m",
        "outside the travel of 'cart_slide'; found '6 m'; accepted: 0.000 m to 5.000 m",
    ),
    (
        "{wing: flat}",
        "{wing: flatt}",
        "no state of 'wing' named 'flatt'; accepted: flat (nearest), or one of: flat, up",
    ),
    ("{wing: flat}", "{wnig: flat}", "no appendage named 'wnig'; accepted: wing"),
    ("{cart: 1 m}", "{card: 1 m}", "no cart named 'card'; accepted: cart"),
    ("{cart: 1 m}", "{cart: 7 m}", "outside the travel of 'cart_slide'; found '7 m'"),
    (
        "{yaw: 30 deg}",
        "{yaw: 40 deg}",
        "not a step of 'yaw'; found '40 deg'; accepted: -90.0 deg to 90.0 deg in steps of 30.0 deg",
    ),
    ("{yaw: 30 deg}", "{yaw: 120 deg}", "not a step of 'yaw'; found '120 deg'"),
    ("{yaw: 30 deg}", "{yow: 30 deg}", "no setting of the restraint named 'yow'; accepted: yaw"),
    ("model: step, at: arm", "model: step, at: platform/nowhere", "'platform' has no frame 'nowhere'"),
    ("model: step, at: arm", "model: step, at: restraint/plate", "'restraint' cannot hang from itself"),
    (
        "ev1: {body: body, posture: rest",
        "ev1: {body: body, posture: rset",
        "no posture of 'body' named 'rset'; accepted: rest (nearest)",
    ),
    ("ev1: {body: body,", "ev1: {body: body, size: large,", "no size of 'body' named 'large'; accepted: medium"),
    ("ev1: {body: body,", "ev1: {body: bod,", "no model named 'bod' among crew; accepted: "),
    ("at: inside}", "at: platform/ruff}", "'platform' has no frame 'ruff'"),
    ("at: inside}", "at: nowhere/x}", "not a frame of this scenario; found 'nowhere/x'; accepted: platform/..."),
    ("at: inside}", "at: ev2/torso}", "'ev2' cannot hang from itself"),
    ("  ev2: {", "  arm: {", "the name 'arm' is taken; accepted: a name used once"),
    ("  box: {model", "  ev2: {model", "the name 'ev2' is taken; accepted: a name used once"),
    ("at: platform/seat}", "at: platform/seet}", "'platform' has no frame 'seet'; accepted: seat (nearest)"),
    (
        "  box: {model: box, at: platform/seat}",
        "  crate: {model: box, at: platform/seat}",
        "no crewmember, hardware or restraint named 'box'",
    ),
    (
        "at: platform/seat}",
        "at: platform/seat, fasteners: {lid: open}}",
        "no fastener of 'box' named 'lid'; accepted: cover",
    ),
    ("{turn: 15 deg}", "{trun: 15 deg}", "no joint of the arm named 'trun'; accepted: turn (nearest), or one of:"),
    (
        "{turn: 15 deg}",
        "{turn: 115 deg}",
        "outside the travel of joint 'turn'; found '115 deg'; accepted: -114.592 deg to 114.592 deg",
    ),
    ("slide: 1 m}", "slide: 1 deg}", "joint 'slide' is prismatic; found '1 deg'; accepted: a length with its unit"),
    ("to_worksite: bay", "to_worksite: boy", "no worksite named 'boy'; accepted: bay"),
    (
        "what: box, to: ev1",
        "what: bx, to: ev1",
        "no crewmember, hardware or restraint named 'bx'; accepted: box (nearest)",
    ),
    ("to: ev1/torso, seat", "to: ev1/trso, seat", "'ev1' has no frame 'trso'; accepted: torso (nearest)"),
    ("to: ev1/torso, seat", "to: box/grip, seat", "'box' cannot hang from itself; found 'box/grip'"),
    ("point: box/case", "point: platform/deck", "'platform' does not move with the arm here; found 'platform/deck'"),
    ("point: box/case", "point: ev2/torso", "'ev2' does not move with the arm here; found 'ev2/torso'"),
    ("point: box/case", "point: box/csae", "'box' has no frame 'csae'; accepted: case (nearest)"),
    (
        "frame: platform/deck, by",
        "frame: platform/dekc, by",
        "'platform' has no frame 'dekc'; accepted: deck (nearest)",
    ),
    ("who: ev1", "who: ev3", "no crewmember named 'ev3'; accepted: ev2 (nearest), or one of: ev1, ev2"),
    ("who: ev1, posture: work", "who: ev1, posture: wokr", "no posture named 'wokr'; accepted: work (nearest)"),
    ("{wing: up}", "{wing: upp}", "no state of 'wing' named 'upp'"),
    ("name: near_visitor", "name: last", "a second move named 'last'; accepted: names used once"),
    ('"arm/*", ', '"amr/*", ', "no body of this scenario fits 'amr/*'"),
    ("through: last", "through: past", "no move from here on named 'past'; accepted: last (nearest)"),
    (
        "detach: {what: box, to: platform/seat",
        "detach: {what: box, to: ev1/torso",
        "'box' is left at something that moves with 'ev1'",
    ),
    ("title: a small", "sources: {titel: x}\ntitle: a small", "no key 'titel' in this file; accepted: title (nearest)"),
]


@pytest.mark.parametrize(("old", "new", "words"), SCRIPT_PROBLEMS, ids=[new[:40] for _, new, _ in SCRIPT_PROBLEMS])
def test_a_problem_of_the_script_names_file_and_line(world, change, old, new, words):
    path, line = change("script.yaml", old, new)
    problems = validate_files([path])
    told = [str(problem) for problem in problems]
    assert any(words in text for text in told), told
    # a name that is taken from another line is told where it is used
    if not new.startswith(("  crate", "name: last")):
        assert any(text.startswith(f"{path}:{line}: ") and words in text for text in told), told


def test_a_second_carry_of_one_name_is_refused(world, change):
    path, line = change("script.yaml", "- name: out\n", "- name: out\n  moves: [{hold: 1 s}]\n- name: out\n")
    assert f"{path}:{line + 2}: a second carry named 'out'; accepted: names used once" in _message(world)


def test_items_of_a_variant_are_checked(world, change):
    with (world / "script.yaml").open("a") as file:
        file.write("- name: back\n  reverse_of: out\n  hardware: {box: bx}\n")
    assert "no hardware named 'bx'; accepted: box" in _message(world)


def test_hardware_that_holds_itself_is_refused(world, change):
    path, line = change(
        "script.yaml",
        "  box: {model: box, at: platform/seat}\n",
        "  box: {model: box, at: crate/case}\n  crate: {model: box, at: box/case}\n",
    )
    assert f"{path}:{line}: things hang in a circle: box -> crate -> box" in _message(world)


def test_an_attach_that_closes_a_circle_is_refused(world, change):
    path, line = change(
        "script.yaml", "attach: {what: box, to: ev1/torso, seat: true}", "attach: {what: restraint, to: ev1/torso}"
    )
    assert f"{path}:{line}: 'ev1' hangs from 'restraint', so 'restraint' cannot hang from it" in _message(world)


def test_a_seat_takes_only_what_it_accepts(world, change):
    change("models/platforms/deck/deck.yaml", "accepts: [box]", "accepts: [crate]")
    assert "seat 'seat' does not accept 'box'; accepted: crate" in _message(world)


def test_a_rider_needs_a_restraint_and_inside_an_airlock(world, change):
    change("script.yaml", "restraint: {model: step, at: arm, settings: {yaw: 30 deg}}\n", "")
    change("models/platforms/deck/deck.yaml", "airlock: hatch\n", "")
    message = _message(world)
    assert "ev1 is on the arm, but there is no restraint; accepted: a restraint" in message
    assert "ev2 is inside, but the platform has no airlock; accepted: arm, or a frame" in message


def test_a_docked_vehicle_needs_one(world, change):
    change("models/platforms/deck/deck.yaml", "vehicle_urdf: visitor.urdf\nvehicle_dock: dock\n", "")
    message = _message(world)
    assert "platform 'deck' has no vehicle; accepted: absent" in message
    assert "the vehicle is absent in this scenario; found 'vehicle/hull'; accepted: vehicle: docked" in message


def test_a_cart_of_the_day_must_exist(world):
    with (world / "script.yaml").open("a") as file:
        file.write("day:\n  steps:\n  - {name: push, actors: [ev2], move_cart: {cart: crt, to: 2 m}, takes: 5 min}\n")
    lines = (world / "script.yaml").read_text().count("\n")
    assert f":{lines}: no cart named 'crt'; accepted: cart" in _message(world)


def test_all_problems_are_told_at_once(world, change):
    change("script.yaml", "to_worksite: bay", "to_worksite: boy")
    change("script.yaml", "who: ev1", "who: ev3")
    change("script.yaml", "{turn: 15 deg}", "{turn: 115 deg}")
    with pytest.raises(InputErrors) as caught:
        load_scenario(world / "script.yaml")
    assert len(caught.value.problems) == 3
    assert str(caught.value).count("\n") == 2
    assert [problem.line for problem in caught.value.problems] == sorted(p.line for p in caught.value.problems)


def test_problems_of_several_models_are_told_at_once(world, change):
    change("models/arms/small/small.yaml", "tip: tip", "tip: tap")
    change("models/hardware/box/box.yaml", "base: case", "base: csae")
    change("models/platforms/deck/deck.urdf", 'size="0.2 0.2 0.2"', 'size="0.2 0.2"')
    message = _message(world)
    assert "small.yaml:5: no link named 'tap'" in message
    assert "box.yaml:5: no link named 'csae'; accepted: case (nearest)" in message
    assert "deck.urdf:2: <box size>: not what is accepted; found '0.2 0.2'; accepted: 3 finite numbers" in message


def test_validate_reads_every_format(world):
    files = [*world.glob("models/*/*/*.yaml"), *world.glob("models/*/*/*.urdf"), world / "script.yaml"]
    assert len(files) == 13
    assert validate_files(files) == []


def test_validate_lists_each_problem_once(world, change):
    arm, line = change("models/arms/small/small.yaml", "tip: tip", "tip: tap")
    problems = validate_files([arm, world / "script.yaml", world / "gone.yaml", world / "gone.urdf"])
    assert [str(problem).split("; ")[0] for problem in problems] == [
        f"{arm}:{line}: no link named 'tap'",
        f"{world / 'gone.yaml'}: no such YAML file",
        f"{world / 'gone.urdf'}: no such URDF file",
    ]


def test_what_an_arm_says_of_its_tip_enters_the_budget(world, change):
    terms = ", ".join(
        f"{name}: {{title: {name}, amount: 30 mm, applies_to: [arm]}}" for name in ("arm_positioning", "thermal")
    )
    change("models/rules/plain/plain.yaml", "stop_remainder", f"budget: {{{terms}}}\nstop_remainder")
    assert load_scenario(world / "script.yaml").rules.budget["arm_positioning"].amount == 0.03
    change("models/arms/small/small.yaml", "tip_positioning: 20 mm", "tip_positioning: 50 mm")
    budget = load_scenario(world / "script.yaml").rules.budget
    assert (budget["arm_positioning"].amount, budget["thermal"].amount) == (0.05, 0.03)
