"""Model documents against their URDFs: every mistake with file and line."""

import pytest

from armcarry.errors import InputError
from armcarry.files.load import validate_files
from armcarry.files.model_files import open_model
from armcarry.files.validate import read_any

ARM, DECK = "models/arms/small/small.yaml", "models/platforms/deck/deck.yaml"
CREW, BOX = "models/crew/body/body.yaml", "models/hardware/box/box.yaml"
STEP = "models/restraints/step/step.yaml"

MISTAKES = [
    (
        ARM,
        "urdf: small.urdf",
        "urdf: smal.urdf",
        "no such URDF; found 'smal.urdf'; accepted: a path inside the folder of this file",
    ),
    (ARM, "urdf: small.urdf", "urdf: ../../platforms/deck/deck.urdf", "the URDF lies outside the model folder"),
    (ARM, "urdf: small.urdf", "urdf: /small.urdf", "not a path to a URDF; found '/small.urdf'"),
    (ARM, "base: base", "base: bse", "no link named 'bse'; accepted: base (nearest), or one of: base, l1, l2"),
    (ARM, "tip: tip", "tip: tap", "no link named 'tap'; accepted: tip (nearest)"),
    (ARM, "base: base", "base: l5\nnotes: x", None),
    (
        ARM,
        "[turn, lift, bend, slide, roll]",
        "[turn, lift, bend, slide, rol]",
        "no movable joint named 'rol'; accepted: roll (nearest)",
    ),
    (
        ARM,
        "[turn, lift, bend, slide, roll]",
        "[lift, turn, bend, slide, roll]",
        "not the movable joints from base to tip in order; accepted: turn, lift, bend, slide, roll",
    ),
    (ARM, "turn: 0 deg, ", "", "joint 'turn' has no home position; accepted: one for every movable joint"),
    (
        ARM,
        "turn: 0 deg, ",
        "turn: 0 m, ",
        "joint 'turn' is revolute; found '0 m'; accepted: an angle with its unit (deg, rad)",
    ),
    (
        ARM,
        "slide: 0.5 m",
        "slide: 2.5 m",
        "outside the travel of joint 'slide'; found '2.5 m'; accepted: -2.000 m to 2.000 m",
    ),
    (
        ARM,
        "default: 2 deg/s, slide: 0.05 m/s",
        "default: 2 deg/s",
        "joint 'slide' slides, and default is for joints that turn; accepted: a value of its own beside default, "
        "slide: a speed with its unit",
    ),
    (
        ARM,
        "default: 2 deg/s, slide: 0.05 m/s",
        "slide: 0.05 m/s",
        "no value for joint 'turn'; accepted: one for every joint, or one named default",
    ),
    (
        ARM,
        "default: 2 deg/s, slide: 0.05 m/s",
        "default: 2 deg/s, slyde: 0.05 m/s",
        "no movable joint named 'slyde'; accepted: slide (nearest)",
    ),
    (
        ARM,
        "default: 2 deg/s, slide: 0.05 m/s",
        "default: 0 deg/s, slide: 0.05 m/s",
        "loads.free.joint_rate.default: outside the accepted range; found '0 deg/s'; accepted: an angular speed with "
        "its unit (deg/s, rad/s, deg/min), more than 0 deg/s, at most 3600 deg/s",
    ),
    (
        ARM,
        "slide: 0.01 m/s^2",
        "slide: 0.01 deg/s^2",
        "joint 'slide' is prismatic; found '0.01 deg/s^2'; accepted: an acceleration",
    ),
    (ARM, "[[base, l1]]", "[[base, l9]]", "no body of 'small_arm' fits 'l9'; accepted: "),
    (ARM, "reaction_time: 2 s", "runaway_rate: {turn: 1 deg/s}\nreaction_time: 2 s", "no value for joint 'lift'"),
    (DECK, '["wing*"]', '["wnig*"]', "no body of 'deck' fits 'wnig*'; accepted: wing (nearest)"),
    (DECK, "vehicle_dock: dock\n", "", "a vehicle needs both; accepted: vehicle_urdf and vehicle_dock, or neither"),
    (DECK, "vehicle_dock: dock", "vehicle_dock: duck", "no link named 'duck'; accepted: dock (nearest), or one of:"),
    (DECK, "airlock: hatch", "airlock: hutch", "no link named 'hutch'; accepted: hatch (nearest)"),
    (
        DECK,
        "joints: [wing_turn]",
        "joints: [wing_trun]",
        "no movable joint named 'wing_trun'; accepted: wing_turn (nearest)",
    ),
    (
        DECK,
        "flat: {wing_turn: 0 deg}",
        "flat: {}",
        "state 'flat' does not set exactly the joints of 'wing'; found ''; accepted: wing_turn",
    ),
    (DECK, "flat: {wing_turn: 0 deg}", "flat: {wing_turn: 0 m}", "joint 'wing_turn' is revolute; found '0 m'"),
    (
        DECK,
        "states: {flat: {wing_turn: 0 deg}, up: {wing_turn: 90 deg}}",
        "states: {}",
        "appendage 'wing' has no state",
    ),
    (DECK, "{frame: mount}", "{frame: mont}", "no link named 'mont'; accepted: mount (nearest)"),
    (
        DECK,
        "joint: cart_slide}",
        "joint: to_mount}",
        "no movable joint named 'to_mount'; accepted: cart_slide, wing_turn",
    ),
    (DECK, "body_frame: cart", "body_frame: card", "no link named 'card'; accepted: cart (nearest)"),
    (DECK, "cart: {joint: cart_slide", "cart: {joint: cart_slid", "no movable joint named 'cart_slid'"),
    (DECK, "stand: stand", "stand: stnd", "no link named 'stnd'; accepted: stand (nearest)"),
    (DECK, "stand: stand", "stand: stand, socket: sucket", "no link named 'sucket'"),
    (DECK, "{bolt: seat}", "{bolt: sear}", "no link named 'sear'; accepted: seat (nearest)"),
    (DECK, "handrail: rail", "handrail: rial", "no handrail named 'rial'; accepted: rail"),
    (DECK, "seat: {frame: seat", "seat: {frame: site", "no link named 'site'"),
    (DECK, "touches: [deck]", "touches: [dcek]", "no body of 'deck' fits 'dcek'; accepted: deck (nearest)"),
    (DECK, "end: seat}", "end: saet}", "no link named 'saet'; accepted: seat (nearest)"),
    (DECK, "eye: {frame: dock", "eye: {frame: duck", "no link named 'duck'"),
    (DECK, "eye: {frame: dock", "eye: {pan: [9 deg, 1 deg], frame: dock", "pan: the first angle is above the second"),
    (CREW, "visor: visor", "visor: vizor", "no link named 'vizor'; accepted: visor (nearest)"),
    (
        CREW,
        "shoulders: [torso, torso]",
        "shoulders: [torso, toros]",
        "no link named 'toros'; accepted: torso (nearest)",
    ),
    (CREW, "boots: boots", "boots: glove_l", "the boots of size 'medium' hang from the movable joint 'arm_l'"),
    (CREW, "work: {arm_l: 30 deg", "work: {arm_l: 130 deg", "outside the travel of joint 'arm_l'; found '130 deg'"),
    (CREW, "work: {arm_l: 30 deg", "work: {arm_i: 30 deg", "no movable joint named 'arm_i'; accepted: arm_"),
    (BOX, "handhold: grip", "handhold: grp", "no link named 'grp'; accepted: grip (nearest)"),
    (BOX, "{hinge: 0 deg}", "{hing: 0 deg}", "no movable joint named 'hing'; accepted: hinge"),
    (BOX, "joint: hinge", "joint: hing", "no movable joint named 'hing'; accepted: hinge"),
    (
        BOX,
        "open: 90 deg",
        "open: 190 deg",
        "outside the travel of joint 'hinge'; found '190 deg'; accepted: 0.000 deg to 114.592 deg",
    ),
    (STEP, "mount: foot", "mount: fot", "no link named 'fot'; accepted: foot (nearest)"),
    (STEP, "plate: plate", "plate: plaet", "no link named 'plaet'; accepted: plate (nearest)"),
    (STEP, "joint: yaw", "joint: yow", "no movable joint named 'yow'; accepted: yaw"),
    (STEP, "highest: 90 deg", "highest: 120 deg", "outside the travel of joint 'yaw'; found '120 deg'"),
    (STEP, "step: 30 deg", "step: 0 deg", "settings.yaw.step: outside the accepted range; found '0 deg'"),
    (STEP, "lowest: -90 deg", "lowest: 100 deg", "setting 'yaw' has no steps; accepted: lowest <= highest"),
]


@pytest.mark.parametrize(("name", "old", "new", "words"), MISTAKES, ids=[f"{new[:40]}" for _, _, new, _ in MISTAKES])
def test_a_mistake_is_told_at_its_line(change, name, old, new, words):
    path, line = change(name, old, new)
    told = [str(problem) for problem in validate_files([path])]
    if words is None:  # a base further out leaves only part of the chain
        words = "not the movable joints from base to tip in order; accepted: "
        assert any(words in text for text in told), told
        return
    key_lines = (line, line - 1, line + 1) if "needs both" in words else (line,)
    starts = tuple(f"{path}:{number}: {words}" for number in key_lines)
    assert any(text.startswith(starts) for text in told), told


def test_an_arm_whose_tip_hangs_elsewhere(change, world):
    path, line = change(ARM, "tip: tip", "tip: l1")
    change(ARM, "base: base", "base: l3")
    assert f"{path}:{line}: link 'l1' does not hang from the base 'l3'" in [str(p) for p in validate_files([path])]


def _follow(world, follower, followed, factor):
    """Have a joint of the small arm follow another one."""
    urdf = world / "models/arms/small/small.urdf"
    before, name, after = urdf.read_text().partition(f'<joint name="{follower}"')
    mimic = f'<mimic joint="{followed}" multiplier="{factor}"/></joint>'
    urdf.write_text(before + name + after.replace("</joint>", mimic, 1))


def _give_fingers(world):
    """Give the small arm a thumb, and a finger that follows it the other way."""
    urdf = world / "models/arms/small/small.urdf"
    limit = '<limit lower="-2" upper="2" effort="1" velocity="1"/>'
    fingers = "".join(
        f'<link name="{name}"/><joint name="to_{name}" type="prismatic"><parent link="tip"/><child link="{name}"/>'
        f'<axis xyz="0 1 0"/>{limit}</joint>'
        for name in ("thumb", "finger")
    )
    urdf.write_text(urdf.read_text().replace("</robot>", f"{fingers}</robot>"))
    _follow(world, "to_finger", "to_thumb", -1.0)


def test_an_arm_one_of_whose_joints_follows_another_is_refused_at_its_joints(world, change):
    path, line = change(ARM, "joints: [turn", "joints: [turn")
    _follow(world, "bend", "lift", 2.0)
    assert [str(problem) for problem in validate_files([path])] == [
        f"{path}:{line}: joint 'bend' follows 'lift', and a carry would move one without the other; accepted: an arm "
        "none of whose joints follows or is followed; prove_arm takes it"
    ]


def test_the_home_of_a_joint_that_follows_is_where_following_puts_it(world, change):
    """A gripper beside the chain: two fingers that stand still in a carry."""
    _give_fingers(world)
    path, line = change(ARM, "roll: 0 deg}", "roll: 0 deg, to_thumb: 0.03 m, to_finger: 0.03 m}")
    assert [str(problem) for problem in validate_files([path])] == [
        f"{path}:{line}: home of 'to_finger' is not where following 'to_thumb' puts it; accepted: -0.03 rad or m"
    ]
    change(ARM, "to_finger: 0.03 m", "to_finger: -0.03 m")
    assert validate_files([path]) == []


def test_an_arm_needs_limits_for_every_load(change):
    path, _ = change(ARM, "  rider:", "  rider_and_hardware:")
    told = [str(problem) for problem in validate_files([path])]
    assert "key 'rider_and_hardware' stands twice" in told[0]
    path.write_text(path.read_text().replace("  rider_and_hardware:", "  rider:", 1))
    text = path.read_text()
    start, end = text.index("  rider_and_hardware:"), text.index("reaction_time")
    path.write_text(text[:start] + text[end:])
    (told,) = [str(problem) for problem in validate_files([path])]
    assert told.endswith("no limits for load 'rider_and_hardware'; accepted: free, rider, rider_and_hardware")


def test_a_crew_without_sizes(change):
    path, line = change(CREW, "sizes:\n", "sizes: {}\nx:\n")
    text = path.read_text()
    path.write_text(text[: text.index("x:\n")] + text[text.index("postures:") :])
    assert [str(problem) for problem in validate_files([path])] == [f"{path}:{line}: no size of body"]


def test_a_urdf_that_cannot_be_read_is_told_with_its_own_line(world):
    urdf = world / "models/arms/small/small.urdf"
    urdf.write_text(urdf.read_text().replace('type="prismatic"', 'type="prismtic"'))
    with pytest.raises(InputError, match=r"small\.urdf:\d+: joint 'slide': unknown type; found 'prismtic'"):
        open_model(read_any(world / ARM))


@pytest.mark.parametrize(("home", "words"), [
    ("to_thumb: 0.03 m}", "home says where joint 'to_thumb' is and not 'to_finger', which follows it"),
    ("to_finger: 0.03 m}", "home of 'to_finger' is not where following 'to_thumb' puts it; accepted: 0 rad or m"),
])  # fmt: skip
def test_where_one_of_two_is_said_the_other_is_too(home, words, world, change):
    _give_fingers(world)
    path, line = change(ARM, "roll: 0 deg}", f"roll: 0 deg, {home}")
    assert any(f"{path}:{line}: {words}" in str(problem) for problem in validate_files([path]))


def test_what_a_cart_rolls_by_neither_follows_nor_is_followed(world, change):
    urdf = world / "models/platforms/deck/deck.urdf"
    limit = '<limit lower="0" upper="9" effort="1" velocity="1"/><mimic joint="cart_slide"/>'
    ends = '<parent link="deck"/><child link="flap"/>'
    hung = f'<link name="flap"/><joint name="flap_slide" type="prismatic">{ends}{limit}'
    urdf.write_text(urdf.read_text().replace("</robot>", f"{hung}</joint></robot>"))
    path, line = change(DECK, "  cart: {joint: cart_slide", "  cart: {joint: cart_slide")
    words = "joint 'flap_slide' follows 'cart_slide', and one would be moved without the other; found 'cart_slide'"
    told = [str(problem) for problem in validate_files([path])]
    assert f"{path}:{line}: {words}; accepted: a joint that neither follows nor is followed" in told
