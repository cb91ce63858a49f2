"""The command, its exit codes and what it prints; the plots."""

import json
import sys

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.cli import app, main
from armcarry.dispersion import campaign as campaigns
from armcarry.dispersion.campaign import run_campaign
from armcarry.dispersion.problem import make_problem
from armcarry.dispersion.results import Results
from armcarry.files.places import scenarios_folder
from armcarry.record import store
from armcarry.views.dispersion_plots import write_dispersion_plots

UNREACHABLE = scenarios_folder() / "unreachable_worksite.yaml"


@pytest.fixture
def done(record, tmp_path):
    return run_campaign(record, make_problem(record), 20, 7, tmp_path / "kept")


@pytest.fixture
def command(done, monkeypatch):
    """Run the command with a campaign that is already there: the plain scene has no files to rehearse."""
    asked, saved = [], []
    monkeypatch.setattr(campaigns, "disperse", lambda *args, **options: asked.append((args, options)) or done)
    monkeypatch.setattr(campaigns, "perturbed_record", lambda campaign, run: (f"run {run}", ()))
    monkeypatch.setattr(store, "save", lambda record, findings, folder, overwrite: saved.append((record, folder)))
    return lambda *words: (CliRunner().invoke(app, ["disperse", "x.yaml", *map(str, words)]), asked, saved)


def test_the_command_saves_tables_plots_and_the_worst_run(command, done, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    told, asked, saved = command("--out", out, "--runs", 60, "--seed", 7, "--workers", 2)
    results = Results(done)
    assert told.exit_code == (1 if results.overall.short else 0)
    assert results.lines[0] in told.output
    assert f"armcarry play {out / 'worst'}" in told.output.replace("\n", "")
    (args, options), = asked
    assert (args[1], args[2], options["workers"], options["cluster"]) == (60, 7, 2, None)
    assert saved == [(f"run {done.worst}", out / "worst")]
    assert {path.name for path in out.iterdir()} == {"plots", "result.json", "runs.parquet", "pairs.parquet"}
    assert {path.name for path in (out / "plots").iterdir()} == {"margins.png", "pairs.png", "terms.png"}


def test_the_command_prints_one_json_document(command, tmp_path):
    told, _, _ = command("--out", tmp_path, "--json", "--no-views")
    value = json.loads(told.stdout)
    assert value["runs"] == 20
    assert value["least"]["chance"][0] <= value["least"]["short"] / 20 <= value["least"]["chance"][1]


def test_plots_show_something(done, tmp_path):
    from PIL import Image

    for path in write_dispersion_plots(Results(done), tmp_path):
        picture = np.asarray(Image.open(path).convert("L"))
        assert picture.shape[1] > 1000
        assert 0.005 < np.mean(picture < 200) < 0.5


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["absent.yaml", "--out", "out"], "absent.yaml"),
        ([str(UNREACHABLE), "--out", "out"], "the script cannot be flown as it is"),
        ([str(UNREACHABLE), "--out", "file"], "cannot write file"),
        ([str(UNREACHABLE), "--out", "out", "--runs", "0"], "--runs"),
        ([str(UNREACHABLE), "--out", "out", "--workers", "0"], "--workers"),
        ([str(UNREACHABLE)], "--out"),
    ],
)
def test_what_cannot_be_done_ends_with_2_and_says_why(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("")
    monkeypatch.setattr(sys, "argv", ["armcarry", "disperse", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    told = capsys.readouterr()
    assert (ended.value.code, told.out) == (2, "")
    assert said in told.err
