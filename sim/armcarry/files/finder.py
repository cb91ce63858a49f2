"""Names and values of a document against the links, joints and bodies of a model."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from armcarry.errors import InputError, QuantityError
from armcarry.files import names
from armcarry.files.validate import Source
from armcarry.files.yaml_text import YamlPath
from armcarry.geometry.model import Model
from armcarry.quantities import describe, parse, show


class Finder:
    """Collects the problems of a document's names against the links, joints and bodies of a model."""

    def __init__(self, source: Source[Any], model: Model, problems: list[InputError]) -> None:
        self.source = source
        self.problems = problems
        self.links = model.links
        self.joints = {joint.name: joint for joint in model.movable()}
        self.bodies = tuple(body.name for body in model.bodies)
        self.file = model.name

    def tell(self, path: YamlPath, problem: str, *, found: object = None, accepted: str | None = None) -> None:
        """Add a problem at a key."""
        self.problems.append(self.source.problem(path, problem, found=found, accepted=accepted))

    def known(self, path: YamlPath, name: str, known: Iterable[str], what: str) -> bool:
        """Tell whether a name is known; add a problem when it is not."""
        names_known = list(known)
        if name in names_known:
            return True
        self.tell(path, f"no {what} named '{name[:80]}'", accepted=names.accepted(name, names_known, what))
        return False

    def link(self, path: YamlPath, name: str | None) -> None:
        """Ask for a link of the model; None asks for nothing."""
        if name is not None:
            self.known(path, name, self.links, "link")

    def joint(self, path: YamlPath, name: str | None) -> bool:
        """Ask for a movable joint of the model; None asks for nothing."""
        return name is not None and self.known(path, name, self.joints, "movable joint")

    def moved(self, path: YamlPath, name: str | None) -> bool:
        """Ask for a movable joint that follows none and that none follows: whoever moves it moves it alone."""
        if name is None or not self.joint(path, name):
            return False
        for joint in self.joints.values():
            if joint.follows is not None and name in (joint.name, joint.follows.joint):
                both = f"joint '{joint.name}' follows '{joint.follows.joint}'"
                accepted = "a joint that neither follows nor is followed"
                self.tell(path, f"{both}, and one would be moved without the other", found=name, accepted=accepted)
        return True

    def pattern(self, path: YamlPath, pattern: str) -> None:
        """Ask for a pattern that fits a body of the model."""
        if not names.matches_any(pattern, self.bodies):
            self.tell(path, f"no body of '{self.file}' fits '{pattern}'", accepted=names.accepted(pattern, self.bodies))

    def settings(self, path: YamlPath, settings: Mapping[str, float]) -> None:
        """Ask for movable joints, values of the right unit and inside the travel, each follower where it is put."""
        for name, value in settings.items():
            if self.joint((*path, name), name):
                self.value((*path, name), name, value)
        for joint in self.joints.values():
            follows = joint.follows
            if follows is None or not {joint.name, follows.joint} & set(settings):
                continue
            wanted = follows.factor * settings.get(follows.joint, 0.0) + follows.offset + 0.0  # no -0
            if joint.name not in settings:
                problem = f"{path[-1]} says where joint '{follows.joint}' is and not '{joint.name}', which follows it"
                self.tell(path, problem, accepted=f"{joint.name} at {wanted:.6g} rad or m")
            elif abs(wanted - settings[joint.name]) > 1e-6:
                problem = f"{path[-1]} of '{joint.name}' is not where following '{follows.joint}' puts it"
                self.tell((*path, joint.name), problem, accepted=f"{wanted:.6g} rad or m")

    def value(self, path: YamlPath, joint: str, value: float, kind: tuple[str, str] = ("angle", "length")) -> None:
        """Ask for a value of the joint's unit; a position also inside its travel."""
        found = self.joints[joint]
        wanted = kind[0] if found.kind == "revolute" else kind[1]
        written = self.source.yaml.value(path)
        try:
            parse(written, wanted)
        except QuantityError:
            self.tell(path, f"joint '{joint}' is {found.kind}", found=written, accepted=describe(wanted))
            return
        if kind == ("angle", "length") and not found.lower - 1e-9 <= value <= found.upper + 1e-9:
            travel = f"{show(found.lower, wanted)} to {show(found.upper, wanted)}"
            self.tell(path, f"outside the travel of joint '{joint}'", found=written, accepted=travel)
