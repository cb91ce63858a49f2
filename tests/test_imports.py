"""What `import armcarry` may load, judged by modules and not by the clock."""

import subprocess
import sys

import pytest

#: each costs 0.1 s or more to import, or needs a display, and loads when it is used
HEAVY = [
    "numba", "scipy", "matplotlib", "pyvista", "vtkmodules", "roboticstoolbox", "spatialmath", "pyarrow",
    "networkx", "pydantic", "ruamel.yaml", "pybullet", "coal", "pinocchio", "jinja2", "PySide6", "pyvistaqt",
]


def _loaded_by(statement: str) -> list[str]:
    show = f"import sys; {statement}; print(chr(10).join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", show], capture_output=True, text=True, check=True)
    return [name for name in HEAVY if name in done.stdout.split()]


def test_importing_the_package_loads_nothing_heavy():
    assert _loaded_by("import armcarry") == []


CONTRACTS = [
    "errors", "quantities", "geometry.poses", "geometry.shapes", "scene.tree", "motion.curve", "record.finding",
]


@pytest.mark.parametrize("module", CONTRACTS)
def test_the_contracts_load_nothing_heavy(module):
    assert _loaded_by(f"import armcarry.{module}") == []


def test_the_proof_is_loaded_without_what_reads_files():
    # numba needs scipy's routines; the rest of a start is kernels from the cache
    assert _loaded_by("import armcarry.clearance, armcarry.clearance.ready") == []
    loaded = _loaded_by("from armcarry.clearance.ready import make_ready; make_ready()")
    assert set(loaded) <= {"numba", "scipy"}


def test_the_probe_sees_a_heavy_module():
    assert "scipy" in _loaded_by("import scipy")
