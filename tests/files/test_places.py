"""Where models and shared files are, and how a model is found by its name."""

from pathlib import Path
from typing import get_args

import pytest

from armcarry.errors import InputError
from armcarry.files import places


def test_folders_hold_what_they_should():
    assert (places.models_folder() / "arms").is_dir()
    assert (places.shared_folder() / "schemas" / "arm.schema.json").is_file()
    assert places.scenarios_folder().parent == places.data_folder()
    assert set(get_args(places.ModelKind)) >= {
        path.name for path in places.models_folder().iterdir() if path.name != "generator"
    }


def test_an_install_is_found_before_a_checkout(tmp_path, monkeypatch):
    package = tmp_path / "site-packages" / "armcarry"
    for folder in ("models", "shared", "scenarios"):
        (package / "data" / folder).mkdir(parents=True)
    monkeypatch.setattr(places, "_PACKAGE", package)
    assert places.data_folder() == package / "data"


def test_a_broken_install_says_what_to_type(tmp_path, monkeypatch):
    monkeypatch.setattr(places, "_PACKAGE", tmp_path / "a" / "b")
    with pytest.raises(
        InputError, match=r"neither inside the package nor beside its checkout.*pip install --force-reinstall"
    ):
        places.data_folder()


def test_a_name_is_looked_up_beside_the_script_first(world, monkeypatch):
    script = world / "script.yaml"
    assert places.find_model("arms", "small", script) == world / "models/arms/small/small.yaml"
    shipped = places.known_models("arms", places.models_folder())
    assert "heron" in shipped
    assert places.find_model("arms", "heron", script) == places.models_folder() / "arms/heron/heron.yaml"
    own = world / "models/arms/heron"
    (world / "models/arms/small").rename(own)
    (own / "small.yaml").rename(own / "heron.yaml")
    assert places.find_model("arms", "heron", script) == own / "heron.yaml"


def test_a_path_is_relative_to_the_script(world):
    sub = world / "deeper" / "script.yaml"
    sub.parent.mkdir()
    found = places.find_model("arms", "../models/arms/small/small.yaml", sub)
    assert found.resolve() == (world / "models/arms/small/small.yaml").resolve()


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("smal", "s.yaml:7: no model named 'smal' among arms; accepted: "),
        (
            "Small",
            "s.yaml:7: names of models are lower case; did you mean 'small'?; found 'Small'; "
            "accepted: a name such as heron, or own/arm.yaml",
        ),
        ("a/b.txt", "neither the name of a model nor a relative path to a YAML file"),
        ("/a/b.yaml", "neither the name of a model nor a relative path to a YAML file"),
        ("a\0.yaml", "neither the name of a model nor a relative path to a YAML file"),
        ("a" * 500 + ".yaml", "neither the name of a model nor a relative path to a YAML file"),
        ("gone/arm.yaml", "no file at this path, which is taken relative to this file; found 'gone/arm.yaml'"),
    ],
)
def test_what_is_not_found_is_told(world, wanted, words):
    with pytest.raises(InputError) as caught:
        places.find_model("arms", wanted, world / "s.yaml", 7)
    assert words in str(caught.value)


def test_a_near_name_comes_first(world):
    with pytest.raises(
        InputError, match=r"accepted: small \(nearest\), or one of: heron, small; or the path of a YAML"
    ):
        places.find_model("arms", "smal", world / "s.yaml", 7)


def test_a_folder_without_models_has_none():
    assert places.known_models("arms", Path("nowhere")) == ()
