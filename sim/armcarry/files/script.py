"""What a script names: the things of a scenario, their frames and bodies, for the checks of the script."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.finder import Finder
from armcarry.files.groups import groups_of, spelled_out
from armcarry.files.model_files import ModelFile
from armcarry.files.validate import Source
from armcarry.files.yaml_text import YamlPath
from armcarry.geometry.model import Model
from armcarry.quantities import show

PLATFORM, VEHICLE, ARM, RESTRAINT, WORLD = "platform", "vehicle", "arm", "restraint", "world"
RESERVED = (PLATFORM, VEHICLE, ARM, RESTRAINT, WORLD, "inside")


class Script:
    """A script and what it names: which things, frames and bodies there are, and how a problem is told."""

    def __init__(
        self, source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], problems: list[InputError]
    ) -> None:
        self.source, self.files, self.problems = source, files, problems
        self.document = source.document
        self.platform = files["platform",].document
        self.arm = Finder(source, files["arm",].model(), problems)
        self.models = self._models()
        self.links = {
            WORLD, *(f"{name}/{link}" for name, model in self.models.items() for link in model.links),
            *(f"{name}/free" for name in self.document.crew),
        }
        self.groups = groups_of(source.document, files)
        self.bodies = [f"{name}/{body.name}" for name, model in self.models.items() for body in model.bodies]

    def _models(self) -> dict[str, Model]:
        """Return instance -> model of everything that stands in the scene."""
        script, files = self.document, self.files
        models = {PLATFORM: files["platform",].model(), ARM: files["arm",].model()}
        if script.vehicle == "docked" and ("vehicle_urdf",) in files["platform",].urdfs:
            models[VEHICLE] = files["platform",].model("vehicle_urdf")
        for name in script.all_restraints:
            models[name] = files[self.restraint_key(name)].model()
        for name, member in script.crew.items():
            urdfs = files["crew", name, "body"].urdfs
            if ("sizes", member.size, "urdf") in urdfs:
                models[name] = urdfs["sizes", member.size, "urdf"].model
        for name in script.hardware:
            models[name] = files["hardware", name, "model"].model()
        return models

    def restraint_key(self, name: str) -> YamlPath:
        """Return the key under which the model of a restraint stands in the script."""
        return ("restraint", "model") if name == RESTRAINT else ("restraints", name, "model")

    def restraint_settings(self, here: YamlPath, restraint: str, settings: Mapping[str, float]) -> None:
        """Ask for settings of a restraint, each on one of its steps."""
        known = self.files[self.restraint_key(restraint)].document.settings
        for name, angle in settings.items():
            path = (*here, name)
            if not self.known(path, name, known, "setting of the restraint"):
                continue
            setting = known[name]
            steps = (angle - setting.lowest) / setting.step
            if not setting.lowest - 1e-9 <= angle <= setting.highest + 1e-9 or abs(steps - round(steps)) > 1e-6:
                low, high, step = (show(v, "angle", 1) for v in (setting.lowest, setting.highest, setting.step))
                found = self.source.yaml.value(path)
                self.tell(path, f"not a step of '{name}'", found=found, accepted=f"{low} to {high} in steps of {step}")

    def tell(self, path: YamlPath, problem: str, *, found: object = None, accepted: str | None = None) -> None:
        """Add a problem at a key of the script."""
        self.problems.append(self.source.problem(path, problem, found=found, accepted=accepted))

    def known(self, path: YamlPath, name: str, known: Iterable[str], what: str) -> bool:
        """Tell whether a name is known; add a problem when it is not."""
        return self.arm.known(path, name, known, what)

    def frame(self, path: YamlPath, name: str) -> bool:
        """Ask for a frame of the scene by its full name."""
        if name in self.links:
            return True
        instance, slash, link = name.partition("/")
        if slash and instance in self.models:
            accepted = names.accepted(link, self.models[instance].links, "link")
            self.tell(path, f"'{instance}' has no frame '{link[:80]}'", accepted=accepted)
        elif slash and instance == VEHICLE:
            self.tell(path, "the vehicle is absent in this scenario", found=name, accepted="vehicle: docked")
        else:
            known = [f"{thing}/..." for thing in self.models] + [WORLD]
            self.tell(path, "not a frame of this scenario", found=name, accepted=", ".join(known))
        return False

    def not_own(self, path: YamlPath, thing: str, frame: str) -> None:
        """Ask that a thing does not hang from one of its own links."""
        if frame.split("/", 1)[0] == thing:
            self.tell(path, f"'{thing}' cannot hang from itself", found=frame, accepted="a frame of another thing")

    def seat(self, path: YamlPath, name: str, frame: str) -> None:
        """Ask that a seat of the platform at this frame accepts this piece of hardware."""
        item = self.document.hardware.get(name)
        seats = {f"{PLATFORM}/{seat.frame}": (title, seat) for title, seat in self.platform.seats.items()}
        if item is None or frame not in seats:
            return
        title, seat = seats[frame]
        if not seat.takes(name, item.model, self.files["hardware", name, "model"].path.stem):
            self.tell(path, f"seat '{title}' does not accept '{name}'", accepted=", ".join(seat.accepts) or "nothing")

    def patterns(self, path: YamlPath, bodies: Iterable[str]) -> None:
        """Ask for patterns that each fit a body of the scene."""
        for side, pattern in enumerate(bodies):
            if not names.matches_any(spelled_out(pattern, self.groups), self.bodies):
                accepted = names.accepted(pattern, self.bodies, "body")
                self.tell((*path, side), f"no body of this scenario fits '{pattern}'", accepted=accepted)

    def station(self, path: YamlPath, joint: str, station: float) -> None:
        """Ask that a station lies inside the travel of a platform joint."""
        found = next(j for j in self.models[PLATFORM].joints if j.name == joint)
        if not found.lower - 1e-9 <= station <= found.upper + 1e-9:
            travel = f"{show(found.lower, 'length')} to {show(found.upper, 'length')}"
            self.tell(path, f"outside the travel of '{joint}'", found=self.source.yaml.value(path), accepted=travel)

    def appendage(self, path: YamlPath, name: str, state: str) -> None:
        """Ask for an appendage of the platform and one of its states."""
        if self.known(path, name, self.platform.appendages, "appendage"):
            self.known(path, state, self.platform.appendages[name].states, f"state of '{name}'")

    def arm_joints(self, path: YamlPath, settings: Mapping[str, float]) -> None:
        """Ask for joints of the arm's chain, of the right unit and inside their travel."""
        joints = self.files["arm",].document.joints
        for name, value in settings.items():
            if self.known((*path, name), name, joints, "joint of the arm"):
                self.arm.value((*path, name), name, value)

    def holders(self) -> dict[str, str]:
        """Return thing -> the thing it hangs from at the start."""
        document, found = self.document, dict[str, str]()
        for name, restraint in document.all_restraints.items():
            found[name] = ARM if restraint.at == "arm" else restraint.at.split("/", 1)[0]
        for name, member in document.crew.items():
            where = {"arm": RESTRAINT, "inside": PLATFORM}.get(member.at, member.at.split("/", 1)[0])
            found[name] = where
        at = {name: item.at for name, item in document.hardware.items()}
        found.update({name: PLATFORM if frame == "inside" else frame.split("/", 1)[0] for name, frame in at.items()})
        return found
