"""The first start says that it compiles; later ones are quick and silent; a folder that cannot be written is no end."""

import os
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from armcarry.clearance import jit
from armcarry.clearance.ready import WORDS, make_ready

SCRIPT = textwrap.dedent(
    """
    import time
    begin = time.perf_counter()
    from armcarry.clearance.ready import make_ready
    words = []
    cold = make_ready(words.append)
    print(int(cold), len(words), round(time.perf_counter() - begin, 3))
    """
)


def start(folder):
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT], env={**os.environ, "NUMBA_CACHE_DIR": str(folder)}, capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    cold, words, seconds = done.stdout.split()
    return int(cold), int(words), float(seconds)


@pytest.mark.long  # compiles all; words, marker and cache are tested below and in test_kernel_cache.py
def test_first_start_compiles_with_a_word_and_the_next_is_quick(tmp_path):
    assert "only the first start" in WORDS
    first, second = start(tmp_path), start(tmp_path)
    assert first[:2] == (1, 1)
    assert second[:2] == (0, 0)
    assert second[2] < first[2] / 3
    assert any(tmp_path.rglob("*.nbi"))


def test_a_change_to_any_inner_kernel_is_never_served_from_an_old_cache():
    folder = Path(jit.__file__).parent
    decorated = re.compile(r"^ *@(kernel|inlined|entry|by_address)\b", re.MULTILINE)
    imported = re.compile(r"^from armcarry\.clearance\.(\w+) import", re.MULTILINE)
    seen = {}
    for path in folder.glob("*.py"):
        text = path.read_text()
        if decorated.search(text):
            seen[path.stem] = set(imported.findall(text))
    assert len(seen) > 12
    # whatever a file with kernels takes from a file with kernels has part in the number that keys the cache
    missing = {(name, other) for name, others in seen.items() for other in others & set(seen) - set(jit._KERNELS)}
    assert missing == set()
    for name in seen:
        assert "source_digest()" in (folder / f"{name}.py").read_text() or name in jit._KERNELS


def test_a_marker_decides_and_none_means_cold(monkeypatch, tmp_path):
    said = []
    monkeypatch.setattr("armcarry.clearance.jit.compiled_marker", lambda: tmp_path / "marker")
    assert make_ready(said.append)
    assert said == [WORDS]
    assert not make_ready(said.append)
    monkeypatch.setattr("armcarry.clearance.jit.compiled_marker", lambda: None)
    assert make_ready()


def test_without_a_writable_place_kernels_compile_in_the_process(monkeypatch):
    import numba

    from armcarry.clearance import jit

    real = numba.njit

    def refuse(*args, cache=False, **options):
        if cache:
            raise RuntimeError("cannot cache function: no locator available for file")
        return real(*args, **options)

    monkeypatch.setattr(jit.numba, "njit", refuse)
    assert jit.entry(lambda value: value + 1)(2) == 3
