"""A damaged cache of compiled kernels, or one on a full disk, costs compiling again and nothing else."""

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROGRAM = """
import sys
from pathlib import Path
from armcarry.clearance.jit import entry

@entry
def twice(x):
    return 2.0 * x

assert twice(3.0) == 6.0
print(*(sum(d.values()) for d in (twice.stats.cache_hits, twice.stats.cache_misses)))
"""


@pytest.fixture
def start(tmp_path):
    """Start a program of one kernel whose cache is in a folder; return its hits and misses and what it said."""
    (tmp_path / "kernel.py").write_text(PROGRAM)
    env = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path / "cache"), "PYTHONDONTWRITEBYTECODE": "1"}

    def run():
        done = subprocess.run([sys.executable, str(tmp_path / "kernel.py")], env=env, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        return done.stdout.split(), done.stderr

    return run


@pytest.mark.long
def test_a_damaged_cache_is_dropped_and_told_once(start, tmp_path):
    assert start() == (["0", "1"], "")
    for ending, cut in (("nbi", lambda data: data[: len(data) // 2]), ("nbc", lambda data: data[: len(data) // 2]),
                        ("nbi", lambda data: b""), ("nbc", lambda data: b"\x80\x04garbage")):
        files = [path for path in (tmp_path / "cache").rglob(f"*.{ending}") if path.name.startswith("kernel.twice")]
        assert files
        for path in files:
            path.write_bytes(cut(path.read_bytes()))
        assert start() == (["0", "1"], "a compiled kernel in the cache is damaged and is compiled again\n")
    assert start() == (["1", "0"], "")


@pytest.mark.skipif(sys.platform != "linux" or shutil.which("unshare") is None, reason="a small file system, of Linux")
def test_on_a_full_disk_kernels_are_compiled_in_memory_and_that_is_told(tmp_path):
    cache = tmp_path / "cache"
    cache.mkdir()
    (tmp_path / "kernel.py").write_text(PROGRAM)
    apart = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c"]
    mount = f"mount -t tmpfs -o size=4k tmpfs {cache} && head -c 4096 /dev/zero > {cache}/full"
    if subprocess.run([*apart, mount], capture_output=True).returncode != 0:
        pytest.skip("no file system may be mounted here")
    run = f"{mount} && {sys.executable} {tmp_path / 'kernel.py'}"
    env = {**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    done = subprocess.run([*apart, run], env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["0", "1"]
    assert done.stderr.startswith("compiled kernels cannot be kept in ") and done.stderr.endswith(
        "(No space left on device): every start compiles\n"
    )


PROBE = """
import sys
from pathlib import Path
from armcarry.clearance.jit import _probe, compiled_marker
_probe()
print(*(sum(d.values()) for d in (_probe.stats.cache_hits, _probe.stats.cache_misses)), compiled_marker().parent)
"""
WHOLE = """
from armcarry.clearance.jit import compiled_marker
from armcarry.clearance.ready import make_ready
print(0, int(make_ready()), compiled_marker().parent)
"""


@pytest.fixture
def others(tmp_path):
    """Return what starts a program with a copy of the package that whoever runs it may not write, and a home."""
    source = Path(importlib.util.find_spec("armcarry").origin).parent
    copy = shutil.copytree(source, tmp_path / "install" / "armcarry", ignore=shutil.ignore_patterns("__pycache__"))
    command = [sys.executable, "-c"]
    if sys.platform == "win32":
        pytest.skip("folders cannot be made read-only by their mode")
    if os.geteuid() == 0:  # root may write everywhere, but for files of another user once it gives its powers up
        command = ["setpriv", "--bounding-set=-all", "--inh-caps=-all", *command]
        if shutil.which("setpriv") is None or subprocess.run([*command, "0"], capture_output=True).returncode != 0:
            pytest.skip("root cannot give up its powers here: setpriv is absent or refused")
    for path in (copy.parent, copy, *copy.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)
        if os.geteuid() == 0:
            os.chown(path, 65534, 65534)
    home = tmp_path / "home"
    home.mkdir()
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("NUMBA_", "XDG_"))}
    env = {**kept, "HOME": str(home), "PYTHONPATH": str(copy.parent)}

    def start(program):
        done = subprocess.run([*command, program], env=env, cwd=tmp_path, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        hits, misses, cache = done.stdout.split()
        assert Path(cache).is_relative_to(home)
        assert not list(copy.rglob("__pycache__"))
        return int(hits), int(misses), done.stderr

    yield start
    for path in (copy.parent, copy, *copy.rglob("*")):
        path.chmod(0o755)


@pytest.mark.parametrize("program", [PROBE, pytest.param(WHOLE, marks=pytest.mark.long)])
def test_an_install_that_the_user_may_not_write_compiles_once_for_that_user(others, program):
    assert others(program) == (0, 1, "")
    hits, misses, said = others(program)
    assert (misses, said) == (0, "")
    assert hits == (1 if program == PROBE else 0)
