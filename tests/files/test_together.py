"""Files that make one thing: all of them or none, and a rerun after a kill goes on."""

import os
import stat

import pytest

from armcarry.errors import InputError, RecordError
from armcarry.files import together
from armcarry.files.together import write_together

FILES = {"own.yaml": b"head", "own.urdf": b"urdf", "meshes/a.obj": b"mesh"}


def there(folder):
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def write(folder):
    write_together(folder, FILES, "own.yaml", "another folder")


def test_a_new_folder_comes_whole_by_the_umask(tmp_path):
    before = os.umask(0o022)
    try:
        write(tmp_path / "new" / "own")
    finally:
        os.umask(before)
    assert there(tmp_path) == {f"new/own/{name}": content for name, content in FILES.items()}
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "new" / "own").stat().st_mode) == 0o755
        assert stat.S_IMODE((tmp_path / "new" / "own" / "own.urdf").stat().st_mode) == 0o644


def test_here_may_be_the_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write(tmp_path.__class__())
    assert there(tmp_path) == FILES


@pytest.mark.parametrize("fails_at", range(len(FILES)))
@pytest.mark.parametrize("is_there", [False, True])
def test_what_fails_on_the_way_leaves_nothing(tmp_path, monkeypatch, fails_at, is_there):
    whole, count = together._write, 0

    def cut_short(path, content):
        nonlocal count
        count += 1
        whole(path, content[:2] if count > fails_at else content)
        if count > fails_at:
            raise OSError(28, "No space left on device")

    folder = tmp_path / "own"
    if is_there:
        folder.mkdir()
        (folder / "notes").write_text("mine")
    before = there(tmp_path)
    monkeypatch.setattr(together, "_write", cut_short)
    with pytest.raises(RecordError, match="own: the disk is full; nothing there was changed"):
        write(folder)
    assert there(tmp_path) == before and folder.exists() == is_there
    assert list(tmp_path.rglob(".*")) == []


def test_the_head_comes_last_and_a_rerun_goes_on(tmp_path, monkeypatch):
    moved, whole = [], together.Path.replace

    def killed(path, target):
        if len(moved) == 2:
            raise KeyboardInterrupt
        moved.append(target.name)
        return whole(path, target)

    with monkeypatch.context() as patch:
        patch.setattr(together.Path, "replace", killed)
        with pytest.raises(KeyboardInterrupt):
            write(tmp_path)
    assert "own.yaml" not in moved and set(there(tmp_path)) == {"own.urdf", "meshes/a.obj"}
    write(tmp_path)
    assert there(tmp_path) == FILES


@pytest.mark.parametrize(("name", "content"), [("own.yaml", b"head"), ("own.yaml", b"mine"), ("own.urdf", b"mine")])
def test_nothing_is_written_over(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError) as refused:
        write(tmp_path)
    assert str(refused.value) == f"{tmp_path / name}: something stands here already; accepted: another folder"
    assert there(tmp_path) == {name: content}


@pytest.mark.skipif(os.name != "posix", reason="links")
def test_nothing_is_written_through_a_link(tmp_path):
    (tmp_path / "elsewhere").write_bytes(b"urdf")
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "own.urdf").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="something stands here already"):
        write(tmp_path / "own")
