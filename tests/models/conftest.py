"""The demo world as the readers see it."""

from dataclasses import dataclass

import numpy as np
import pytest

from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.bodies import CrewDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.places import models_folder
from armcarry.files.urdf import read_urdf
from armcarry.files.validate import read_document
from armcarry.geometry.model import Model
from armcarry.scene.tree import Tree


@dataclass(frozen=True)
class DemoWorld:
    """Documents and models of the demo world."""

    platform: PlatformDocument
    platform_model: Model
    arm: ArmDocument
    arm_model: Model
    restraint: RestraintDocument
    restraint_model: Model
    crew: CrewDocument
    bodies: dict[str, Model]

    def position(self, tree: Tree, settings: dict[str, float]) -> np.ndarray:
        """Return the joint vector of a tree with some joints set by full name."""
        q = np.zeros(len(tree.joints))
        for name, value in settings.items():
            q[tree.column(name)] = value
        return q

    def appendages(self, states: dict[str, str]) -> dict[str, float]:
        """Return joint settings, by full name, of appendage states."""
        return {
            f"platform/{joint}": value
            for name, state in states.items()
            for joint, value in self.platform.appendages[name].states[state].items()
        }


@pytest.fixture(scope="session")
def demo_world():
    models = models_folder()
    platform = read_document(models / "platforms/tern_yard/tern_yard.yaml", PlatformDocument)
    arm = read_document(models / "arms/heron/heron.yaml", ArmDocument)
    restraint = read_document(models / "restraints/foot_restraint/foot_restraint.yaml", RestraintDocument)
    crew = read_document(models / "crew/suited/suited.yaml", CrewDocument)
    return DemoWorld(
        platform, read_urdf(models / "platforms/tern_yard" / platform.urdf, platform.classes),
        arm, read_urdf(models / "arms/heron" / arm.urdf),
        restraint, read_urdf(models / "restraints/foot_restraint" / restraint.urdf),
        crew, {name: read_urdf(models / "crew/suited" / size.urdf) for name, size in crew.sizes.items()},
    )
