"""A script against everything it names: every frame, joint, seat, state, posture and item."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.documents.scenario import Carry, Move, ScenarioDocument
from armcarry.files.model_files import Finder, ModelFile
from armcarry.files.validate import Source
from armcarry.files.yaml_text import YamlPath
from armcarry.geometry.model import Model
from armcarry.quantities import show

PLATFORM, VEHICLE, ARM, RESTRAINT, WORLD = "platform", "vehicle", "arm", "restraint", "world"
RESERVED = (PLATFORM, VEHICLE, ARM, RESTRAINT, WORLD, "inside")


def check_scenario(
    source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], problems: list[InputError]
) -> None:
    """Add every problem between a script and the models it names.

    Args:
        source: the script.
        files: key in the script -> model file, as the loader opened them.
        problems: where to add them.
    """
    _ScenarioCheck(source, files, problems).run()


class _ScenarioCheck:
    """One pass over a script."""

    def __init__(
        self, source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], problems: list[InputError]
    ) -> None:
        self.source, self.files, self.problems = source, files, problems
        self.script = source.document
        self.platform = files["platform",].document
        self.arm = Finder(source, files["arm",].model(), problems)
        self.models = self._models()
        self.links = {
            WORLD, *(f"{name}/{link}" for name, model in self.models.items() for link in model.links),
            *(f"{name}/free" for name in self.script.crew),
        }
        self.bodies = [f"{name}/{body.name}" for name, model in self.models.items() for body in model.bodies]
        self.holder: dict[str, str] = {}

    def _models(self) -> dict[str, Model]:
        """Return instance -> model of everything that stands in the scene."""
        script, files = self.script, self.files
        models = {PLATFORM: files["platform",].model(), ARM: files["arm",].model()}
        if script.vehicle == "docked" and ("vehicle_urdf",) in files["platform",].urdfs:
            models[VEHICLE] = files["platform",].model("vehicle_urdf")
        if script.restraint is not None:
            models[RESTRAINT] = files["restraint", "model"].model()
        for name, member in script.crew.items():
            urdfs = files["crew", name, "body"].urdfs
            if ("sizes", member.size, "urdf") in urdfs:
                models[name] = urdfs["sizes", member.size, "urdf"].model
        for name in script.hardware:
            models[name] = files["hardware", name, "model"].model()
        return models

    # -- helps --------------------------------------------------------------------------------------

    def tell(self, path: YamlPath, problem: str, *, found: object = None, accepted: str | None = None) -> None:
        self.problems.append(self.source.problem(path, problem, found=found, accepted=accepted))

    def known(self, path: YamlPath, name: str, known: Any, what: str) -> bool:
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

    # -- what stands where ------------------------------------------------------------------------------

    def run(self) -> None:
        script = self.script
        for group in ("crew", "hardware"):
            for name in getattr(script, group):
                if name in RESERVED or (group == "hardware" and name in script.crew):
                    self.tell((group, name), f"the name '{name}' is taken", accepted="a name used once")
        self._base()
        for name, state in script.appendages.items():
            if self.known(("appendages", name), name, self.platform.appendages, "appendage"):
                self.known(("appendages", name), state, self.platform.appendages[name].states, f"state of '{name}'")
        if script.vehicle == "docked" and self.platform.vehicle_urdf is None:
            self.tell(("vehicle",), f"platform '{script.platform}' has no vehicle", accepted="absent")
        self._restraint()
        self._crew()
        self._hardware()
        self.arm.settings(("start",), script.start)
        seen: set[str] = set()
        for k, carry in enumerate(script.carries):
            if carry.name in seen:
                self.tell(("carries", k, "name"), f"a second carry named '{carry.name}'", accepted="names used once")
            seen.add(carry.name)
            self._carry(("carries", k), carry)
        self._day()

    def _station(self, path: YamlPath, joint: str, station: float) -> None:
        """Ask that a station lies inside the travel of a platform joint."""
        found = next(j for j in self.models[PLATFORM].joints if j.name == joint)
        if not found.lower - 1e-9 <= station <= found.upper + 1e-9:
            travel = f"{show(found.lower, 'length')} to {show(found.upper, 'length')}"
            self.tell(path, f"outside the travel of '{joint}'", found=self.source.yaml.value(path), accepted=travel)

    def _base(self) -> None:
        base = self.script.base
        if self.known(("base", "mount"), base.mount, self.platform.mounts, "mount"):
            joint = self.platform.mounts[base.mount].joint
            if joint is None and base.station is not None:
                self.tell(("base", "station"), f"mount '{base.mount}' does not travel", accepted="no station")
            elif joint is not None and base.station is None:
                self.tell(("base",), f"mount '{base.mount}' travels, so it needs a station", accepted="station: 3.5 m")
            elif joint is not None and base.station is not None:
                self._station(("base", "station"), joint, base.station)
        for name, station in self.script.carts.items():
            if self.known(("carts", name), name, self.platform.carts, "cart"):
                self._station(("carts", name), self.platform.carts[name].joint, station)

    def _restraint(self) -> None:
        restraint = self.script.restraint
        if restraint is None:
            return
        if restraint.at != "arm" and self.frame(("restraint", "at"), restraint.at):
            self._not_own(("restraint", "at"), RESTRAINT, restraint.at)
        known = self.files["restraint", "model"].document.settings
        for name, angle in restraint.settings.items():
            path = ("restraint", "settings", name)
            if not self.known(path, name, known, "setting of the restraint"):
                continue
            setting = known[name]
            steps = (angle - setting.lowest) / setting.step
            if not setting.lowest - 1e-9 <= angle <= setting.highest + 1e-9 or abs(steps - round(steps)) > 1e-6:
                accepted = (
                    f"{show(setting.lowest, 'angle', 1)} to {show(setting.highest, 'angle', 1)} "
                    f"in steps of {show(setting.step, 'angle', 1)}"
                )
                self.tell(path, f"not a step of setting '{name}'", found=self.source.yaml.value(path), accepted=accepted)

    def _crew(self) -> None:
        for name, member in self.script.crew.items():
            document = self.files["crew", name, "body"].document
            here = ("crew", name)
            self.known((*here, "size"), member.size, document.sizes, f"size of '{member.body}'")
            self.known((*here, "posture"), member.posture, document.postures, f"posture of '{member.body}'")
            if member.at == "arm" and self.script.restraint is None:
                self.tell((*here, "at"), f"{name} is on the arm, but there is no restraint", accepted="a restraint")
            elif member.at == "inside" and self.platform.airlock is None:
                self.tell((*here, "at"), f"{name} is inside, but the platform has no airlock", accepted="arm or a frame")
            elif member.at not in ("arm", "inside") and self.frame((*here, "at"), member.at):
                self._not_own((*here, "at"), name, member.at)

    def _not_own(self, path: YamlPath, thing: str, frame: str) -> None:
        if frame.split("/", 1)[0] == thing:
            self.tell(path, f"'{thing}' cannot hang from itself", found=frame, accepted="a frame of another thing")

    def _hardware(self) -> None:
        for name, item in self.script.hardware.items():
            path = ("hardware", name, "at")
            if self.frame(path, item.at):
                self._not_own(path, name, item.at)
                self._seat(path, name, item.at)
        # things must hang from each other in the end from the platform, the arm or the world
        parent = {name: item.at.split("/", 1)[0] for name, item in self.script.hardware.items()}
        for name in parent:
            seen, thing = [name], parent[name]
            while thing in parent and thing not in seen:
                seen.append(thing)
                thing = parent[thing]
            if thing == name and len(seen) > 1:
                self.tell(("hardware", name, "at"), f"things hang in a circle: {' -> '.join([*seen, name])}")

    def _seat(self, path: YamlPath, name: str, frame: str) -> None:
        """Ask that a seat of the platform at this frame accepts this piece of hardware."""
        item = self.script.hardware.get(name)
        seats = {f"{PLATFORM}/{seat.frame}": (title, seat) for title, seat in self.platform.seats.items()}
        if item is None or frame not in seats:
            return
        title, seat = seats[frame]
        if not {name, item.model, self.files["hardware", name, "model"].path.stem} & set(seat.accepts):
            self.tell(path, f"seat '{title}' does not accept '{name}'", accepted=", ".join(seat.accepts) or "nothing")

    # -- carries ------------------------------------------------------------------------------------------

    def _carry(self, here: YamlPath, carry: Carry) -> None:
        for earlier, later in carry.hardware.items():
            for item in (earlier, later):
                self.known((*here, "hardware", earlier), item, self.script.hardware, "hardware")
        moves = [move.name for move in carry.moves if move.name is not None]
        for k, move in enumerate(carry.moves):
            path = (*here, "moves", k)
            if move.name is not None and moves.index(move.name) != moves_before(carry, k):
                self.tell((*path, "name"), f"a second move named '{move.name}'", accepted="names used once")
            self._move(path, move)
            for r, relaxation in enumerate(move.relax):
                place = (*path, "relax", r)
                for side, pattern in enumerate(relaxation.bodies):
                    if not names.matches_any(pattern, self.bodies):
                        accepted = names.accepted(pattern, self.bodies)
                        self.tell((*place, "bodies", side), f"no body of this scenario fits '{pattern}'", accepted=accepted)
                later = [move.name for move in carry.moves[k:] if move.name is not None]
                if relaxation.through is not None:
                    self.known((*place, "through"), relaxation.through, later, "move from here on")

    def _move(self, path: YamlPath, move: Move) -> None:
        for key in ("to_joints", "one_joint", "pin"):
            settings = getattr(move, key)
            if settings:
                self._arm_joints((*path, key), settings)
        for key in ("to_pose", "line"):
            goal = getattr(move, key)
            if goal is not None:
                self.frame((*path, key, "frame"), goal.frame)
                if goal.point is not None and self.frame((*path, key, "point"), goal.point):
                    self._moving_point((*path, key, "point"), goal.point)
        if move.to_worksite is not None:
            self.known((*path, "to_worksite"), move.to_worksite, self.platform.worksites, "worksite")
        for name, state in (move.appendage or {}).items():
            if self.known((*path, "appendage", name), name, self.platform.appendages, "appendage"):
                states = self.platform.appendages[name].states
                self.known((*path, "appendage", name), state, states, f"state of '{name}'")
        if move.posture is not None and self.known(
            (*path, "posture", "who"), move.posture.who, self.script.crew, "crewmember"
        ):
            postures = self.files["crew", move.posture.who, "body"].document.postures
            self.known((*path, "posture", "posture"), move.posture.posture, postures, "posture")
        for key in ("attach", "detach"):
            if getattr(move, key) is not None:
                self._switch((*path, key), getattr(move, key).what, getattr(move, key).to, key)

    def _arm_joints(self, path: YamlPath, settings: Mapping[str, float]) -> None:
        """Ask for joints of the arm's chain, of the right unit and inside their travel."""
        joints = self.files["arm",].document.joints
        for name, value in settings.items():
            if self.known((*path, name), name, joints, "joint of the arm"):
                self.arm.value((*path, name), name, value)

    def _moving_point(self, path: YamlPath, point: str) -> None:
        if point.split("/", 1)[0] in (PLATFORM, VEHICLE, WORLD):
            self.tell(path, "this point does not move with the arm", found=point, accepted="a link the arm carries")

    def _switch(self, path: YamlPath, what: str, to: str, key: str) -> None:
        things = [*self.script.crew, *self.script.hardware, *([RESTRAINT] if self.script.restraint else [])]
        if not self.known((*path, "what"), what, things, "crewmember or hardware") or not self.frame((*path, "to"), to):
            return
        owner = to.split("/", 1)[0]
        self._not_own((*path, "to"), what, to)
        if key == "detach" and owner not in (PLATFORM, WORLD, VEHICLE, *self.script.crew, *self.script.hardware):
            self.tell((*path, "to"), f"'{what}' is detached to the arm", found=to, accepted="a frame of the platform")
        self._seat((*path, "to"), what, to)

    def _day(self) -> None:
        """Ask that carts of the day are carts of the platform."""
        day = self.script.day
        for k, step in enumerate(day.steps if day is not None else ()):
            if step.move_cart is not None:
                self.known(
                    ("day", "steps", k, "move_cart", "cart"), step.move_cart.cart, self._carts(), "cart"
                )

    def _carts(self) -> list[str]:
        """Names of carts on the rail: those of the platform and hardware that stands for one."""
        return [*self.platform.carts, *self.script.hardware]


def moves_before(carry: Carry, k: int) -> int:
    """Return how many moves of a carry before move ``k`` have a name."""
    return sum(move.name is not None for move in carry.moves[:k])
