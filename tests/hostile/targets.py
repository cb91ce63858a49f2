"""What guided inputs are fed to, beside readers of single files: days, run folders, and calls from Python.

Imported by ``guided.py`` once it watches how far an input gets; nothing of the package is imported before that.
"""

import hashlib
import json
import struct
import subprocess
import sys
import time
from pathlib import Path

import conftest

#: what a day names that nobody changes here: read once, since reading it costs ten times the day itself
_SHIPPED = "models"


def keep_models():
    """Read every model that comes with the package, or lies in a run folder's copy, once and no more."""
    from armcarry.files import load

    for name in ("read_source", "open_model"):
        plain = getattr(load, name)

        known = {}

        def cached(one, *more, plain=plain, known=known):
            path = one if isinstance(one, Path) else one.path
            if _SHIPPED not in path.parts:
                return plain(one, *more)
            if (path, *more) not in known:
                known[path, *more] = plain(one, *more)
            return known[path, *more]

        setattr(load, name, cached)


def in_words(refusal, _folder):
    """Ask of a refusal that it can be read and steers no terminal."""
    said = str(refusal)
    assert said and len(said) < conftest.LONGEST_MESSAGE, said[:3000]
    assert all(line.isprintable() for line in said.splitlines()), repr(said)


# -- days ------------------------------------------------------------------------------------------------------


class Days:
    """Scenarios with steps of a day, with every name in them resolved."""

    names = ("a.yaml",)

    def __init__(self, folder):
        self.folder = folder

    def goods(self):
        texts = [Path(__file__).parents[1] / "timeline" / "short_day.yaml"]
        texts += [path for path in sorted((Path(__file__).parents[2] / "scenarios").glob("*.yaml"))
                  if path.stat().st_size < 4000]  # fmt: skip
        return [path.read_bytes() for path in texts]

    def ready(self):
        keep_models()

    def feed(self, content, watch):
        from armcarry.files.load import load_scenario

        (self.folder / "a.yaml").write_bytes(content)
        return conftest.read_fairly(watch, self.folder, self.folder / "a.yaml", load_scenario)


# -- run folders -----------------------------------------------------------------------------------------------

SHORT_RUN = """
format: armcarry scenario 1
title: Kept
purpose: a run to damage
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
start: {shoulder_turn: 80 deg, shoulder_swing: 20 deg, shoulder_lift: -40 deg, elbow_bend: 60 deg}
carries:
  - {name: aside, moves: [{hold: 2 s, name: ready, say: Ready}]}
"""


def make_run(folder):
    """Write a run of two seconds with hardly any rows: what is read, and not how much, is asked here."""
    from dataclasses import replace

    from armcarry.record.store import save
    from armcarry.rehearsal import judge, rehearse

    (folder / "kept.yaml").write_text(SHORT_RUN)
    record = rehearse(folder / "kept.yaml")
    findings = judge(record)
    save(replace(record, pairs=record.pairs[:3], curves=record.curves[:1], judged={}), findings, folder / "run")


class Runs:
    """A run folder of which one file is another one, with digests that fit: the first line of an input names it."""

    names = ("run",)

    def __init__(self, folder):
        self.folder, self.run = folder, folder / "run"

    def goods(self):
        if not self.run.exists():  # in a process of its own, that leaves no memory behind
            program = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import targets\n"
            program += f"from pathlib import Path; targets.make_run(Path({str(self.folder)!r}))"
            subprocess.run([sys.executable, "-c", program], check=True)
        self.files = {path.relative_to(self.run).as_posix(): path.read_bytes()
                      for path in sorted(self.run.rglob("*")) if path.is_file() and "models" not in path.parts}
        self.summary = json.loads(self.files["summary.json"])
        return [name.encode() + b"\n" + content for name, content in self.files.items() if len(content) < 20_000]

    def ready(self):
        keep_models()

    def feed(self, content, watch):
        from armcarry.record.store import load

        name, _, content = content.partition(b"\n")
        name = name.decode("latin-1")
        if name not in self.files:
            name = sorted(self.files)[len(content) % len(self.files)]
        summary = {**self.summary, "digests": {**self.summary["digests"], name: hashlib.sha256(content).hexdigest()}}
        (self.run / name).write_bytes(content)
        if name != "summary.json":
            (self.run / "summary.json").write_text(json.dumps(summary))
        try:
            return conftest.read_fairly(watch, self.folder, self.run, load, judge=in_words)
        finally:
            (self.run / name).write_bytes(self.files[name])
            (self.run / "summary.json").write_bytes(self.files["summary.json"])


# -- calls -----------------------------------------------------------------------------------------------------

ODD = (
    float("nan"), float("inf"), float("-inf"), -1.0, -0.0, 1e16, 1e300, 5e-324, 2**70, -(2**63), "1", "", "a" * 3000,
    None, True, [1.0], (), {}, b"1", 1j, [[1.0], [2.0, 3.0]], object(), float,
)  # fmt: skip
WORDS = ("a", "b", "l0", "l1", "l2", "l3", "j0", "j1", "j2", "world", "arm", "\x1b[2J", "x/y", "fixed", "revolute")


class Bytes:
    """Values out of the bytes of an input, in the order they are asked for; zeros when it is at its end."""

    def __init__(self, content):
        self.content, self.at = content, 0

    def byte(self):
        self.at += 1
        return self.content[self.at - 1] if self.at <= len(self.content) else 0

    def below(self, count):
        return self.byte() % count

    def real(self, low, high):
        return low + (high - low) * (self.byte() * 256 + self.byte()) / 65535

    def any_real(self):
        raw = bytes(self.byte() for _ in range(8))
        return struct.unpack("<d", raw)[0]

    def or_odd(self, good):
        """Return what ``good`` gives, seldom something odd or any number at all."""
        chance = self.byte()
        if chance < 6:
            return ODD[self.below(len(ODD))]
        return self.any_real() if chance < 8 else good()

    def number(self, low, high):
        return self.or_odd(lambda: self.real(low, high))

    def some(self, make, most):
        return [make() for _ in range(self.below(most + 1))]

    def word(self):
        return self.or_odd(lambda: WORDS[self.below(len(WORDS))])


class Calls:
    """The constructors and calls that a user makes from Python: each answers, or raises ArmcarryError in words."""

    names = ()

    def __init__(self, folder):
        self.folder = folder

    def goods(self):
        return [bytes((k * step + 11) % 256 for k in range(600)) for step in (7, 31, 57, 101, 171, 223)]

    def ready(self):
        import numpy as np

        self.np = np

    def feed(self, content, watch):
        from armcarry.errors import ArmcarryError

        start = time.process_time()
        try:
            self._call(Bytes(content))
            answered = True
        except ArmcarryError as error:
            in_words(error, self.folder)
            answered = False
        # functions are compiled while good calls are made, before anything is watched
        assert time.process_time() - start < conftest.SLOWEST_S or isinstance(watch, conftest.Unwatched)
        return answered

    def _call(self, data):
        from armcarry.clearance import all_pairs as every
        from armcarry.clearance import clearance_curve, distance, distances, prove_arm, prove_clearance
        from armcarry.clearance import pairs_that_move as moving

        np = self.np
        match data.below(6):
            case 0:
                distance(self.shape(data), self.pose(data), self.shape(data), self.pose(data))
            case 1:
                shapes = data.some(lambda: self.shape(data), 3)
                poses = data.or_odd(lambda: [[self.pose(data) for _ in shapes]])
                distances(shapes, poses, data.or_odd(lambda: np.array([[0, data.below(4)]])))
            case 2 | 3:
                self._arm(data, prove_arm)
            case _:
                from armcarry.scene.tree import Tree

                tree = Tree().place("arm", self.model(data)).place("o", self.model(data), pose=self.pose(data))
                motion = self.motion(data, tree.joints)
                pairs = every(tree) if data.below(2) else moving(tree, motion)
                options = {"report_distance_m": data.number(0.0, 5.0), "start_s": data.or_odd(lambda: None),
                           "end_s": data.or_odd(lambda: None)}  # fmt: skip
                if data.below(2):
                    prove_clearance(tree, motion, pairs, tolerance_m=data.number(1e-4, 0.1), **options)
                else:
                    clearance_curve(tree, motion, pairs, cells=data.or_odd(lambda: 1 + data.below(20)))

    def shape(self, data):
        from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

        def size():
            return data.number(0.01, 0.5)

        def points():
            return data.or_odd(lambda: [[data.number(-0.5, 0.5) for _ in range(3)] for _ in range(data.below(9))])

        match data.below(6):
            case 0:
                return Sphere(size())
            case 1:
                return Capsule(size(), size())
            case 2:
                return Cylinder(size(), size())
            case 3:
                return Box(data.or_odd(lambda: (size(), size(), size())))
            case 4:
                return ConvexMesh(points())
            case _:
                return ConvexMesh.hull_of(points())

    def pose(self, data):
        from armcarry.geometry.poses import from_xyz_rpy

        made = from_xyz_rpy([data.real(-2, 2) for _ in range(3)], [data.real(-3, 3) for _ in range(3)])
        if data.byte() < 3:
            made[data.below(4), data.below(4)] = data.any_real()
        return data.or_odd(lambda: made)

    def model(self, data):
        from armcarry.geometry.model import Body, Follows, Joint, Model

        kinds = ("revolute", "revolute", "prismatic", "fixed")
        axes = ((0, 0, 1), (0, 1, 0), (1.0, 0, 0), (0, 0.6, 0.8))
        joints = []
        for k in range(data.below(4)):
            follows = Follows(data.word(), data.number(-2, 2), data.number(-1, 1)) if data.byte() < 12 else None
            joints.append(Joint(
                f"j{k}", data.or_odd(lambda: kinds[data.below(4)]), f"l{k}", f"l{k + 1}", self.pose(data),
                data.or_odd(lambda: axes[data.below(4)]), data.number(-4, 0), data.number(0, 4), data.number(0, 2),
                follows,
            ))  # fmt: skip
        links = tuple(f"l{k}" for k in range(len(joints) + 1))
        bodies = tuple(Body(data.or_odd(lambda k=k: f"b{k}"), data.or_odd(lambda: links[data.below(len(links))]),
                            data.or_odd(lambda: self.shape(data)), self.pose(data)) for k in range(data.below(4)))
        return Model(data.or_odd(lambda: "m"), "l0", links, tuple(joints), bodies)

    def motion(self, data, joints):
        from armcarry.motion.curve import Motion

        pieces, degree = 1 + data.below(3), data.below(4)
        breaks = data.or_odd(lambda: [data.number(6 * k, 6 * k + 5) for k in range(pieces + 1)])
        table = [[[data.number(-1, 1) for _ in joints] for _ in range(degree + 1)] for _ in range(pieces)]
        return Motion(joints, breaks, data.or_odd(lambda: table))

    def _arm(self, data, prove_arm):
        model = self.model(data)
        count = 2 + data.below(3)
        times = [data.number(6 * k, 6 * k + 5) for k in range(count)]
        rows = {joint.name: data.or_odd(lambda: [data.number(-1, 1) for _ in range(count)])
                for joint in model.movable() if joint.follows is None}  # fmt: skip
        held = {name: data.number(-1, 1) for name in list(rows) if data.byte() < 20}
        for name in held:
            if data.byte() > 10:
                rows.pop(name)
        from armcarry.geometry.model import Body

        around = [Body(f"o{k}", data.or_odd(lambda: "world"), self.shape(data), self.pose(data))
                  for k in range(data.below(3))]  # fmt: skip
        prove_arm(
            model, data.or_odd(lambda: times), data.or_odd(lambda: rows), data.or_odd(lambda: around),
            pieces=data.or_odd(lambda: ("linear", "cubic")[data.below(2)]), own_bodies=data.or_odd(lambda: True),
            held=data.or_odd(lambda: held), base=data.or_odd(lambda: self.pose(data)),
            neighbours=data.or_odd(lambda: False), ignore=data.or_odd(lambda: []),
            report_distance_m=data.number(0, 5), tolerance_m=data.number(1e-4, 0.1),
        )  # fmt: skip


KINDS = {"day": Days, "run": Runs, "calls": Calls}
