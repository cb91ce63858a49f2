"""What all who feed the readers share: the readers, good files to begin with, and what a reader may do.

Imported by ``guided.py`` too, which measures how far an input gets inside the package; so nothing of the package is
imported before a reader is asked for.
"""

import hashlib
import os
import random
import re
import struct
import sys
import sysconfig
import time
from pathlib import Path

import pytest

SLOWEST_S = 5.0
LARGEST_BYTES = 1_000_000_000
LONGEST_MESSAGE = 2000

CUBE = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
CUBE_QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


# -- readers -------------------------------------------------------------------------------------------------


def read_yaml(path):
    """Read a model with the URDFs it names, or a scenario alone."""
    from armcarry.files.model_checks import check_model
    from armcarry.files.model_files import open_model
    from armcarry.files.validate import raise_all, read_any

    raise_all(check_model(open_model(read_any(path))))


def read_urdf(path):
    from armcarry.files.urdf import read_urdf

    read_urdf(path)


def read_mesh(path):
    import numpy as np

    from armcarry.files.meshes import convex, read_mesh

    convex(read_mesh(path)[0], np.ones(3), path)


#: kind -> names under which the content is read, and the reader
READERS = {
    "yaml": (("a.yaml",), read_yaml),
    "urdf": (("a.urdf",), read_urdf),
    "mesh": (("a.obj", "a.stl"), read_mesh),
}


# -- what a reader may do ------------------------------------------------------------------------------------


class Watch:
    """Notes what is done while it is on: files written, programs started, connections, files read elsewhere.

    A hook of the interpreter sees every file that Python opens, so one that is written and removed again is seen too.
    """

    WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
    ACTS = (
        "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "os.chmod",
        "os.chown", "os.system", "os.exec", "os.fork", "os.forkpty", "os.posix_spawn", "os.spawn", "os.startfile",
        "subprocess.Popen", "socket.connect", "socket.bind", "socket.getaddrinfo",
    )  # fmt: skip

    def __init__(self):
        self.on = False
        self.folder = self.shipped = self.cache = ""
        self.seen = []
        # modules that are imported late, what they bring, and what they ask about the machine
        own = {*sysconfig.get_paths().values(), sys.prefix, sys.base_prefix}
        self.python = (*(os.path.realpath(place) for place in own), "/proc/", "/sys/")
        sys.addaudithook(self._note)

    def _note(self, event, args):
        if not self.on:
            return
        if event == "open":
            path, _, flags = args
            if isinstance(path, int):
                return
            path = os.path.realpath(os.fsdecode(path))
            if (flags or 0) & self.WRITES:
                self._act("writes", path)
            elif not (self._inside(path, self.folder, self.shipped) or path.startswith(self.python)):
                self._act("reads", path)
        elif event in self.ACTS:
            self._act(event, str(args[0]) if args else "")

    def _act(self, act, path):
        if not path.startswith(self.cache):
            self.seen.append((act, path))

    @staticmethod
    def _inside(path, *folders):
        return any(path.startswith(folder + os.sep) for folder in folders)

    def begin(self, folder):
        from armcarry.files import places

        self.folder, self.shipped = os.path.realpath(folder), os.path.realpath(places.data_folder())
        self.cache = os.path.realpath(os.environ.get("ARMCARRY_CACHE", "/dev/null"))
        self.seen = []
        self.on = True

    def end(self):
        self.on = False
        return self.seen


class Unwatched:
    """Stands in for a watch while nothing is watched yet."""

    def begin(self, folder):
        pass

    def end(self):
        return []


def _lines(content):
    """Return how many lines a file has at most: a lone carriage return and U+2028 end one too."""
    return max(len(content.decode(code, "replace").splitlines()) for code in ("latin-1", "utf-8")) + 1


def placed(error, folder):
    """Ask that a refusal names file and line, in one short line that is safe to print."""
    from armcarry.errors import InputError

    problems = getattr(error, "problems", (error,))
    assert problems
    for problem in problems:
        assert isinstance(problem, InputError), repr(problem)
        said = str(problem)
        assert problem.file is not None and Path(problem.file).resolve().is_relative_to(folder.resolve()), said
        if problem.file.suffix in (".yaml", ".urdf"):
            assert problem.line is not None, said
            assert 1 <= problem.line <= _lines(problem.file.read_bytes()), said
        place = f"{problem.file}:{problem.line}: " if problem.line is not None else f"{problem.file}: "
        assert said.startswith(place), said
        assert len(said) - len(place) < LONGEST_MESSAGE, said
        assert said.isprintable(), repr(said)


def read_fairly(watch, folder, path, read, judge=None):
    """Read one file and return whether it was accepted; raise AssertionError for whatever a reader must not do."""
    from armcarry.errors import ArmcarryError

    watch.begin(folder)
    start = time.process_time()
    refusal = None
    try:
        read(path)
    except ArmcarryError as error:
        refusal = error
    finally:
        seen, took_s = watch.end(), time.process_time() - start
    assert seen == [], seen
    assert took_s < SLOWEST_S
    if refusal is not None:
        (judge or placed)(refusal, folder)
    return refusal is None


def listing(folder, but):
    """Return path -> digest of every file below a folder except one."""
    return {
        path: hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""
        for path in sorted(folder.rglob("*"))
        if path != but and "cache" not in (path.name, path.parent.name)
    }


def peak_bytes():
    if sys.platform == "win32":
        return 0
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024


# -- good files to begin with --------------------------------------------------------------------------------


def cube_obj():
    faces = [" ".join(str(corner + 1) for corner in quad) for quad in CUBE_QUADS]
    return ("".join(f"v {x} {y} {z}\n" for x, y, z in CUBE) + "".join(f"f {face}\n" for face in faces)).encode()


def cube_stl():
    triangles = [t for a, b, c, d in CUBE_QUADS for t in ((a, b, c), (a, c, d))]
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *CUBE[a], *CUBE[b], *CUBE[c], 0) for a, b, c in triangles)
    return b"cube".ljust(80) + struct.pack("<I", len(triangles)) + body


def text_stl():
    corners = b"vertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\n"
    return b"solid a\nfacet normal 0 0 1\nouter loop\n" + corners + b"endloop\nendfacet\nendsolid\n"


def shipped(pattern):
    from armcarry.files import places

    return [path.read_bytes() for path in sorted(places.data_folder().glob(pattern))]


def beginning(text, longest):
    """Return the whole lines of the first ``longest`` bytes."""
    return text if len(text) <= longest else text[: text.rindex(b"\n", 0, longest) + 1]


MESH_ROBOT = (
    b'<robot name="r"><link name="a"><collision><geometry><mesh filename="cube.obj" scale="1 2 3"/></geometry>'
    b'</collision></link>\n<link name="b"/>\n<joint name="j" type="revolute"><parent link="a"/><child link="b"/>'
    b'<axis xyz="0 0 1"/><limit lower="-1" upper="1" effort="1" velocity="1"/></joint></robot>'
)


def good_files(kind):
    """Return good files of one kind, small enough that damage often lies in a file that could be read but for it."""
    if kind == "yaml":
        return [beginning(text, 6000) for text in [*shipped("models/*/*/*.yaml"), *shipped("scenarios/*.yaml")]]
    if kind == "urdf":
        return [*(content for content in shipped("models/*/*/*.urdf") if len(content) < 12_000), MESH_ROBOT]
    return [cube_obj(), cube_stl(), text_stl(), *shipped("models/*/*/meshes/*.obj")]


def stand_beside(folder):
    """Put into a folder what good files name, so that they can be read but for their damage."""
    from armcarry.files import places

    (folder / "cube.obj").write_bytes(cube_obj())
    (folder / "meshes").mkdir()
    for path in sorted(places.data_folder().glob("models/*/*/*.urdf")):
        if path.stat().st_size < 16_000:  # the platform's is large and would take all the time
            (folder / path.name).write_bytes(path.read_bytes())
    for path in sorted(places.data_folder().glob("models/*/*/meshes/*.obj")):
        (folder / "meshes" / path.name).write_bytes(path.read_bytes())


# -- damage --------------------------------------------------------------------------------------------------

HURTFUL = [
    b"nan", b"inf", b"-1", b"0", b"1e999", b"1e-320", b"9" * 400, b"&a ", b"*a", b"<<: ", b"!!python/object:os.system ",
    b"\t", b"\r", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"- ", b"? ", b": ", b"| ", b"> ", b"{", b"}",
    b"[", b"]", b'"', b"'", b"#", b"%YAML 1.1\n", b"---\n", b"...\n", b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"&a;",
    b"&#0;",
    b"<![CDATA[", b"]]>", b"<!--", b"-->", b"</", b"/>", b"<link/>", b"<joint>", b"../../../etc/passwd",
    b"package://", b"file:///", b"null", b"~", b"true", b"[" * 60, b"{a: " * 60, b"0 0 0", b"1 1", b"1:60",
    b"12 m^9",
    b"1 m", b"-5 deg", b"\\u0000", b'"\\ud800"', "\u2028".encode(), b"default", b"format: armcarry arm 1\n",
]


WORD = re.compile(rb"[A-Za-z_/][\w./]*|[-+]?[0-9][\w.:+-]*")


def damaged(good: bytes, others: list[bytes], dice: random.Random) -> bytes:
    """Return a good file with one to six hurts."""
    data = bytearray(good)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 6))):
        at = dice.randrange(len(data) + 1)
        end = min(len(data), at + dice.choice((1, 1, 4, 20, 200)))
        match dice.randrange(9):
            case 0:
                data[at:at] = dice.choice(HURTFUL)
            case 1:
                data[at:end] = dice.choice(HURTFUL)
            case 2:
                del data[at:end]
            case 3:
                data[at:at] = data[at:end] * dice.choice((1, 1, 2, 50))
            case 4:
                data[at:end] = bytes(dice.randrange(256) for _ in range(end - at))
            case 5:
                other = dice.choice(others)
                start = dice.randrange(len(other) + 1)
                data[at:end] = other[start : start + 200]
            case 6:
                lines = bytes(data).split(b"\n")
                dice.shuffle(lines) if dice.random() < 0.1 else lines.insert(
                    dice.randrange(len(lines) + 1), dice.choice(lines)
                )
                data = bytearray(b"\n".join(lines))
            case 7 | 8:  # a word, a number, a value in quotes: the file stays well-formed and means something else
                here = WORD.search(data, at) or WORD.search(data)
                there = [found[0] for found in WORD.finditer(dice.choice(others))]
                if here and there:
                    data[here.start() : here.end()] = dice.choice(there if dice.random() < 0.7 else HURTFUL)
    return bytes(data[:200_000])


# -- fixtures ------------------------------------------------------------------------------------------------

#: how many inputs the seeded damage gives each reader; the long run asks for more
COUNT = int(os.environ.get("ARMCARRY_FUZZ", "60"))


def feed_drawn(strategy, feed, most, record_property):
    """Feed what hypothesis draws, the same inputs each time; ``feed`` returns whether the input was accepted."""
    from hypothesis import HealthCheck, Phase, given, settings

    fed, accepted, peak = 0, 0, peak_bytes()  # other tests of this process may have used much already

    @settings(
        max_examples=most, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
    )
    @given(strategy)
    def feed_one(value):
        nonlocal fed, accepted
        fed += 1
        accepted += feed(value)

    feed_one()
    assert peak_bytes() - peak < LARGEST_BYTES
    record_property("inputs", fed)
    return fed, accepted


@pytest.fixture(scope="session")
def watch():
    return Watch()


@pytest.fixture(scope="session")
def room(short_run, short_path, tmp_path_factory):
    """A folder with something to work on, where commands are run and killed: see ``writers.Room``."""
    from writers import Room

    made = Room(tmp_path_factory.mktemp("writers"), short_run, short_path)
    yield made
    made.close()


@pytest.fixture(scope="session")
def kit():
    """The functions of this file, for tests: they cannot import it."""
    return sys.modules[__name__]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder in which good files can be read, below a mesh that nobody may read and a link that leads to it."""
    inner = tmp_path_factory.mktemp("hostile") / "inner"
    inner.mkdir()
    (inner.parent / "secret.obj").write_bytes(cube_obj())
    (inner / "leads_out.obj").symlink_to(inner.parent / "secret.obj")
    stand_beside(inner)
    return inner
