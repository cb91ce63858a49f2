"""What each page of methods rests on: inputs that decide, numbers of the code, tests, scenarios that show it fail.

One row a page of ``shared/methods/``. Keys are those of the reference (``rules.stop_remainder``,
``arm.loads.<name>.brake_deceleration``); a key that holds others stands for all of them. Numbers are names in modules
of this package. Tests are files of ``tests/``. The table of assumptions of a run reads the same rows.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Basis:
    """What one page rests on.

    Attributes:
        asks: what must be true, or what is to be known, in one line.
        keys: inputs that decide, as the reference spells them.
        numbers: ``module:NAME`` of constants of the code that decide, within the package.
        tests: files of tests, from ``tests/``.
        shows: names of scenarios that are expected to fail it, or that show it at work.
        check: whether it is a check of the registry; else a computation that checks rest on, or a command.
    """

    asks: str
    keys: tuple[str, ...]
    numbers: tuple[str, ...]
    tests: tuple[str, ...]
    shows: tuple[str, ...] = ()
    check: bool = True


_SHAPES = ("arm.urdf", "platform.urdf", "platform.vehicle_urdf", "crew.sizes.<name>.urdf", "hardware.urdf",
           "restraint.urdf")  # fmt: skip
_NEAR = ("arm.near", "hardware.near", "hardware.within", "restraint.near", "restraint.within", "platform.seats",
         "platform.handrails", "platform.worksites", "platform.zones")  # fmt: skip
_LIMITS = ("arm.loads.<name>.joint_rate", "arm.loads.<name>.joint_acceleration")
_BRAKES = ("arm.loads.<name>.brake_deceleration", "arm.reaction_time", "rules.stop_remainder")

BASES: dict[str, Basis] = {
    "clearance": Basis(
        "Nothing comes closer than the rules allow, at any instant",
        ("rules.required", "rules.intended_contact", "rules.report_distance", "arm.ignore_pairs", *_SHAPES,
         "platform.appendages.<name>.states", "platform.carts", "scenario.carts", "hardware.rest", "crew.trails"),
        ("proving.curves:BAND_M", "clearance.solids:PAD_M", "clearance.distance:CONTACT_M"),
        ("checks/test_clearance.py", "clearance/test_prove_random.py", "proving/test_rows_hold.py"),
        ("pump_box_radiator_out",),
    ),
    "reach": Basis(
        "The arm makes every move of the script",
        ("arm.urdf", "arm.home", "arm.travel", "platform.urdf", "scenario.start", "scenario.base.station",
         "scenario.carries[].moves"),
        ("motion.line:TOLERANCES", "timeline.moves:BEAM", "timeline.moves:BRANCHES"),
        ("checks/test_reach.py", "motion/test_inverse.py", "motion/test_line.py"),
        ("unreachable_worksite",),
    ),
    "arm_safe": Basis(
        "The arm is made safe whenever people get on or off it or a rider works at a seat",
        ("rules.arm_safe",), (), ("ledger/test_arm_safe.py", "timeline/test_rule_times.py"),
    ),
    "budget": Basis(
        "Clearances hold when arm, structure, heat and grasp are off",
        ("rules.budget", "rules.budget_combination", "arm.tip_positioning", "rules.required"),
        ("checks.budget:PAIRS",), ("checks/test_budget.py",), ("pump_box_radiator_out",),
    ),
    "corridor": Basis(
        "The body fits the way it travels", ("crew.corridor", *_SHAPES),
        ("checks.corridor:SPACING_M", "checks.corridor:TRAVELS_M_S", "clearance.passage:BESIDE_RAD"),
        ("checks/test_corridor.py", "clearance/test_passage.py"),
    ),
    "custody": Basis(
        "Hardware is always held, fastened or seated, and every act on it is done when it may be",
        ("hardware.fasteners", "hardware.hold", "hardware.holds", "hardware.small", "hardware.before_carry",
         "hardware.after_seating", "rules.hands", "rules.hatch",
         "platform.seats.<name>.bolts", "platform.seats.<name>.connectors", "platform.seats.<name>.accepts"),
        (), ("checks/test_custody.py", "ledger/test_items.py", "ledger/test_people.py", "ledger/test_faults.py",
             "ledger/test_by_hand.py", "ledger/test_hatch.py", "ledger/test_tools.py", "ledger/test_told_once.py",
             "ledger/test_two_on_one.py"),
        ("box_by_hand", "two_on_one_load", "work_platform"),
    ),
    "grasp": Basis(
        "What is joined is really together", ("platform.seats.<name>.frame", "hardware.base"),
        ("checks.grasp:NEAR_M", "checks.grasp:NEAR_RAD", "proving.passing:NEAR_M", "proving.passing:OFF_M"),
        ("checks/test_grasp.py", "proving/test_passing.py"),
        ("box_by_hand", "two_on_one_load", "work_platform"),
    ),
    "held_view": Basis(
        "Hardware in hand leaves the work in sight",
        ("crew.view_half_angle", "platform.worksites.<name>.work_points"),
        ("checks.held_view:LINES", "checks.held_view:SURFACE_M"),
        ("checks/test_held_view.py", "clearance/test_sightline.py"),
    ),
    "joint_margin": Basis(
        "Joints keep away from the ends of their travel",
        ("rules.margins.joint_position", "rules.margins.joint_travel", "arm.urdf"), (),
        ("checks/test_joint_margin.py", "motion/test_curve.py"),
    ),
    "joint_rate": Basis(
        "Joints stay inside rate and acceleration for their load", (*_LIMITS, "scenario.carries[].moves"), (),
        ("checks/test_joint_rate.py", "motion/test_timing.py", "published/test_timing.py"),
    ),
    "light": Basis(
        "The sun does not hinder sight, and lights the work",
        ("scenario.environment", "crew.view_half_angle", "platform.worksites.<name>.work_points"),
        ("seeing.glare:SHADE_STEP_S", "seeing.glare:LOOK_STEP_S", "seeing.worklight:LOOK_STEP_S"),
        ("checks/test_light.py", "scene/test_sky.py", "published/test_light.py"), ("hazard_light",),
    ),
    "locked_joint": Basis(
        "With a joint locked the others bring the rider to something to hold on to",
        ("rules.locked_joint", "rules.safe_return", "rules.stop_remainder", *_LIMITS, "scenario.safe_point",
         "crew.sizes.<name>.reach.one_hand"),
        ("whatif.locked_joint:INSTANTS", "whatif.locked_joint:KEEP_M", "whatif.locked_joint:STEPS",
         "whatif.locked_joint:FINE_STEPS", "whatif.locked_joint:BACK"),
        ("checks/test_locked_joint.py", "whatif/test_locked_joint.py"), ("hazard_locked_joint",),
    ),
    "log": Basis(
        "A logged motion says enough to be judged", (), (),
        ("checks/test_log.py", "record/test_logged.py", "files/test_motion_log.py"),
    ),
    "near_people": Basis(
        "Arm and hardware can stop before they reach a free worker, and riders go gently",
        ("rules.worker_speed", "rules.rider_tip_speed", "arm.reaction_time", "arm.tip_positioning",
         "arm.loads.<name>.brake_deceleration"),
        ("whatif.nearness:TOLERANCE_M", "timeline.separation:WALKING_M_S", "checks.tip_speed:BAND_M_S"),
        ("checks/test_near_people.py", "whatif/test_nearness.py", "published/test_separation.py"),
        ("hazard_near_people",),
    ),
    "relaxation": Basis(
        "Smaller clearances are granted to named bodies, for a short time and a short way",
        ("rules.relaxation", *_NEAR), ("checks.relaxation:MOST_BODIES", "checks.relaxation:SAMPLES"),
        ("checks/test_relaxation.py", "asked/test_places.py", "asked/test_zones.py"),
    ),
    "rooms": Basis(
        "Everybody keeps out of rooms to keep out of, touches none that is not to be touched, leaves by the way along",
        ("platform.rooms", "scenario.switched_off"), ("asked.rooms:WALL_M", "asked.rooms:SIDES"),
        ("checks/test_rooms.py",),
    ),
    "runaway": Basis(
        "A joint that runs away is caught before anything comes too near",
        ("arm.detection_time", "arm.runaway_rate", "arm.loads.<name>.runaway_rate", "arm.loads.<name>.runaway_near",
         "arm.loads.<name>.brake_deceleration", "rules.stop_remainder", "rules.slow_within"),
        ("whatif.runaway_joint:BAND_M", "whatif.runaway_joint:TOLD_S", "whatif.cells:ENOUGH_M",
         "asked.requirement:TOUCH_M"),
        ("checks/test_runaway.py", "whatif/test_faults.py", "published/test_stopping.py"), ("hazard_runaway",),
    ),
    "schedule": Basis(
        "The day fits its limits and everybody is where the steps want them",
        ("rules.confidence", "rules.climbing", "rules.between_moves", "rules.hatch", "rules.suits", "rules.effort",
         "scenario.day", "scenario.crew.<name>.suit", "scenario.crew.<name>.filled", "crew.translation_speed",
         "hardware.takes", "hardware.acts",
         "platform.appendages.<name>.turning_time"),
        ("checks.schedule:SAMPLES", "timeline.policy:MORE_S", "timeline.policy:TRIED"),
        ("checks/test_schedule.py", "timeline/test_schedule.py", "timeline/test_tanks.py", "timeline/test_policy.py",
         "timeline/test_estimate.py",
         "published/test_three_point.py"),
    ),
    "second_opinion": Basis(
        "Independent engines agree about the tightest pairs and about late stops",
        (),
        ("whatif.opinions:PAIRS", "clearance.second_opinion:BANDS_M", "whatif.flown_stop:LOOKS"),
        ("checks/test_second_opinion.py", "clearance/test_second_opinion.py", "whatif/test_opinions.py",
         "whatif/test_flown_stop.py"),
    ),
    "seen": Basis(
        "Cameras see tip, riders and close gaps",
        ("rules.unseen_extra", "arm.cameras", "platform.cameras", "crew.cameras", "scenario.cameras_off"),
        ("seeing.sight:FINE_S", "seeing.sight:HOUSING_M", "seeing.gaps:STEP_M"),
        ("checks/test_seen.py", "seeing/test_sight.py", "scene/test_camera.py"), ("hazard_seen",),
    ),
    "singularity": Basis(
        "The arm keeps away from places where it loses a direction of motion",
        ("rules.margins.smallest_singular_value", "arm.characteristic_length"), ("checks.singularity:SAMPLES",),
        ("checks/test_singularity.py", "motion/test_jacobian.py", "published/test_kinematics.py"),
    ),
    "slowing": Basis(
        "The arm is slow wherever it is near structure",
        ("rules.slow_within", "arm.loads.<name>.near_structure", "arm.loads.<name>.joint_rate"),
        ("whatif.near_structure:SHARP_S", "whatif.near_structure:BAND_M"), ("checks/test_slowing.py",),
    ),
    "stopping": Basis(
        "Told to stop at any instant, the arm runs out clear of everything", _BRAKES,
        ("whatif.late_stop:BAND_M", "whatif.late_stop:TOLD_S", "whatif.cells:ENOUGH_M", "asked.requirement:TOUCH_M"),
        ("checks/test_stopping.py", "whatif/test_late_stop.py", "whatif/test_faults.py",
         "published/test_stopping.py"),
        ("hazard_stopping",),
    ),
    "stranded": Basis(
        "With the arm stopped for good its rider gets back inside in time",
        ("rules.safe_return", "rules.way_home", "rules.tether_reach", "crew.translation_speed",
         "crew.sizes.<name>.reach.one_hand", "scenario.day.rail_gap", "scenario.day.rail_reach",
         "platform.handrails", "platform.airlock"),
        ("whatif.stranding:TOLERANCE_M",),
        ("checks/test_stranded.py", "whatif/test_all_inside.py", "timeline/test_ways_home.py",
         "timeline/test_handrails.py"),
        ("hazard_stranded",),
    ),
    "tethers": Basis(
        "Nobody and nothing goes farther than its tether, and nobody is ever unhooked", ("rules.tethers",),
        ("ledger.presence:TOLERANCE_M",), ("ledger/test_items.py", "ledger/test_people.py"),
    ),
    "tip_speed": Basis(
        "The tip is slow enough for its load and rider",
        ("arm.loads.<name>.tip_speed", "rules.rider_tip_speed", "scenario.carries[].moves"),
        ("checks.tip_speed:BAND_M_S",), ("checks/test_tip_speed.py", "motion/test_speed.py"), ("hazard_tip_speed",),
    ),
    "work_reach": Basis(
        "Every work point is in reach of the hands and in sight of the visor",
        ("crew.sizes.<name>.reach", "crew.view_half_angle", "restraint.settings", "scenario.restraint.settings",
         "scenario.restraints",
         "platform.worksites.<name>.hands", "platform.worksites.<name>.work_points"),
        ("working.stops:NEAR_M", "working.stops:NEAR_RAD", "working.stops:AT_STAND_M"),
        ("checks/test_work_reach.py", "scene/test_reach.py", "published/test_reach.py"),
    ),
    "proof": Basis(
        "The distance of two convex bodies over a motion lies between two bounds at every instant", _SHAPES,
        ("clearance.solids:PAD_M", "clearance.prover:MOST_CUTS"),
        ("clearance/test_prove_closed_form.py", "clearance/test_prove_degenerate.py",
         "clearance/test_prove_extremes.py", "clearance/test_prove_random.py", "laws/test_clearance_laws.py",
         "published/test_distance_rows.py"),
        check=False,
    ),
    "motion": Basis(
        "A script becomes one motion, valid at every instant",
        ("arm.urdf", *_LIMITS, "arm.loads.<name>.tip_speed", "rules.bend_zones"),
        ("motion.line:TOLERANCES", "motion.timing:BEND_SHARE", "motion.timing:FINE_SHARE", "timeline.moves:BEAM"),
        ("motion/test_closed_form.py", "motion/test_forward_engines.py", "motion/test_inverse.py",
         "motion/test_line.py", "motion/test_timing.py", "published/test_kinematics.py", "published/test_timing.py"),
        check=False,
    ),
    "requirement": Basis(
        "What is asked of two bodies at a time has one answer", ("rules.required", "rules.stop_remainder", *_NEAR),
        ("asked.requirement:TOUCH_M",),
        ("asked/test_requirement.py", "asked/test_zones.py", "laws/test_asked_laws.py"), check=False,
    ),
    "campaign": Basis(
        "What runs that differ keep, and how sure that is", ("rules.dispersion", "rules.confidence"),
        ("dispersion.problem:TOLERANCE_M", "dispersion.results:SHARE"),
        ("dispersion/test_problem.py", "dispersion/test_campaign.py", "published/test_statistics.py"), check=False,
    ),
    "planning": Basis(
        "Ways, stations and restraint settings that commands propose",
        ("restraint.settings", "crew.postures", "platform.mounts"),
        ("planning.route:GOALS", "planning.roadmap:FREE_M", "planning.restraint:RANK_M"),
        ("planning/test_route.py", "planning/test_roadmap.py", "planning/test_restraint.py",
         "planning/test_stations.py"),
        check=False,
    ),
    "swept_room": Basis(
        "A closed mesh that surely encloses what moves", _SHAPES, ("whatif.swept:CELLS_M",),
        ("clearance/test_envelope.py", "clearance/test_surface_map.py", "whatif/test_swept.py"), check=False,
    ),
    "comparing": Basis(
        "How far two runs, or a run and a log, are apart", (),
        ("comparing.runs:TIP_STEP_S", "comparing.nearer:SAME_M", "comparing.steps:LASTS_S", "comparing.steps:WAY"),
        ("comparing/test_expected.py", "comparing/test_steps.py"), check=False,
    ),
}
