"""Shell commands of README, DEVELOPERS and the pages of the reference, run as by a reader in a copy of the checkout."""

import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from armcarry.cli import main

ROOT = Path(__file__).resolve().parents[1]
PAGES = ("commands", "install", "run_folder", "python", "day", "logs")
NAMES = ("README.md", "DEVELOPERS.md", *(f"shared/reference/{page}.md" for page in PAGES))
TEXTS = {name: (ROOT / name).read_text() for name in NAMES}
COMMANDS = TEXTS["shared/reference/commands.md"]
TUTORIAL = (ROOT / "shared" / "tutorial.md").read_text()
SHELL = re.compile(r"(?:armcarry|bash|pip|python -m|apt) \S")
PLACEHOLDER = re.compile(r"\b[A-Z]{3,}\b|\[--|\.\.\.")
BLOCK = re.compile(r"^    [^\n]*$|^```.*?^```$", re.MULTILINE | re.DOTALL)

SMALL = "scenarios/unreachable_worksite.yaml"
LOGGED = "armcarry rehearse scenarios/logged/hazard_tip_speed.yaml --motion scenarios/logged/hazard_tip_speed.csv"
OTHERS = (
    "armcarry rehearse scenarios/logged/hazard_tip_speed.yaml --motion scenarios/logged/other_house.csv "
    "--log-columns scenarios/logged/other_house_columns.yaml"
)
#: a usage pattern, or a command that is long as it stands -> calls of it, in order; "# exit N" where it is not 0
CALLS = {
    "armcarry rehearse SCENARIO [--out DIR]": [f"armcarry rehearse {SMALL} --out runs/small --no-views # exit 1"],
    f"{LOGGED} --pieces cubic": [f"{LOGGED} --pieces cubic --no-views # exit 1"],
    f"{OTHERS} --pieces cubic": [f"{OTHERS} --pieces cubic --no-views --out runs/others # exit 1"],
    "armcarry compare RUN RUN": [
        "armcarry compare runs/small runs/small --out two",
        "armcarry compare runs/hazard_tip_speed scenarios/logged/hazard_tip_speed.csv --pieces cubic",
    ],
    "armcarry freeze RUN --date DATE --by NAME": [
        "armcarry freeze runs/small --date 2031-03-20 --by 'A. Lead' --by 'B. Second'",
        "armcarry freeze runs/small --date 2031-03-21 --by 'A. Lead' # exit 2",
    ],
    "armcarry envelope RUN [--out FILE.stl]": ["armcarry envelope runs/small --out room.stl"],
    "armcarry validate FILE...": ["armcarry validate scenarios/day_at_tern_yard.yaml models/arms/heron/heron.*"],
    "armcarry inspect FILE [--write-model DIR]": [
        "armcarry inspect models/arms/heron/heron.urdf --write-model own/heron",
        "armcarry inspect four.csv --modified --no-draw --write-model own/four",
    ],
    "armcarry inspect FILE --write-model DIR": ["armcarry inspect wall.obj --no-draw --write-model own/wall"],
    "armcarry restraint SCENARIO WORKSITE": ["armcarry restraint scenarios/pump_box_to_bay_7.yaml bay_7 --limit 3"],
    "armcarry route SCENARIO --out NEW.yaml [--carry NAME] [--seed S]": [
        "armcarry route first.yaml --out new.yaml --carry swing --seed 2"
    ],
    "armcarry replan RUN --at TIME [--late STEP=+70min] [--failed STEP] [--unable NAME] [--out DIR]": [
        "armcarry rehearse day_that_may_vary --no-views",
        "armcarry replan runs/day_that_may_vary --at 0:06 --late far_lamp=+10min --failed report --unable ev2 --out on",
    ],
    "armcarry stations SCENARIO [WORKSITE...]": [f"armcarry stations {SMALL} mast_top --step '5 m' --picture map.png"],
    "armcarry disperse SCENARIO --out DIR [--runs N] [--seed S] [--workers W] [--cluster ADDRESS --tls-ca PEM "
    "--tls-cert PEM --tls-key PEM]": [
        "armcarry disperse first.yaml --out campaign --runs 4 --seed 2 --workers 2"
    ],
    "armcarry new KIND NAME [--to DIR]": [
        "armcarry new arm reach --to yard", "armcarry new platform deck --to yard", "armcarry new rules ours --to yard",
        "armcarry new scenario trial --platform deck --arm reach --rules ours --to yard",
        "armcarry rehearse yard/trial.yaml --no-views",
    ],
    "armcarry examples [NAME] [--to DIR]": ["armcarry examples", "armcarry examples change_places --to mine"],
    "armcarry assumptions RUN [--csv FILE]": ["armcarry assumptions runs/small --csv numbers.csv"],
    "armcarry list [MODEL]": ["armcarry list", "armcarry list tern_yard"],
    "armcarry explain KEY": ["armcarry explain moves.rate", "armcarry explain moves.rat # exit 2"],
    "armcarry expand SCENARIO [--out FILE]": ["armcarry expand pump_box_to_bay_7 --out long.yaml"],
    "armcarry edit SCENARIO [--set KEY=VALUE]": [
        f"armcarry edit {SMALL} --set 'base.station=4 m' --out changed.yaml # exit 1",
    ],
    "armcarry handfly SCENARIO": [f"armcarry handfly {SMALL} --write-keys keys.yaml"],
    "armcarry brief RUN": [
        "armcarry brief runs/small --part page --part gltf --part cards --paper Letter "
        "--part movie --cut '0 s to 10 s, 20x, ev1'",
        f"armcarry brief runs/small --part script --words {SMALL}",
        "armcarry brief runs/small --part report --actual runs/hazard_tip_speed # exit 2",
    ],
    "armcarry doctor [--json]": ["armcarry doctor", "armcarry doctor --json"],
    "armcarry index RUN... --out DIR": ["armcarry index runs/small runs/small --out all"],
}
#: a folder that calls read -> what writes it
WRITES = {
    "runs/small": CALLS["armcarry rehearse SCENARIO [--out DIR]"][0],
    "runs/hazard_tip_speed": CALLS[f"{LOGGED} --pieces cubic"][0],
}
#: a command that is not run here -> why
NOT_RUN = {
    "python -m pip install armcarry": "an install; test_packaging.py installs the wheel",
    "python -m pip install -e '.[all]'": "an install; the extra 'test' that .ci/run installs holds nearly all of it",
    "python -m pip install -e .": "an install; .ci/run installs more from the same folder",
    "python -m pip install -e '.[test]'": ".ci/run runs it word for word, test_house.py compares",
    "python -m pytest -n 2": "this suite; .ci/run runs it word for word",
    "python -m pytest -m bench -s": "takes an idle machine and minutes",
    "python -m pytest -m bench -s tests/bench/test_bench_clearance.py": "takes an idle machine and minutes",
    "python -m pytest -m bench -s tests/bench/test_bench_growth.py": "takes an idle machine and minutes",
    "python -m pytest -m long": "takes minutes",
    "python -m pytest -m long -s tests/hostile/test_killed.py": "takes many minutes",
    "python -m armcarry.files.schemas": "writes into the checkout; files/test_schemas.py compares what it writes",
    "python -m armcarry.files.reference": "writes into the checkout; files/test_reference.py compares what it writes",
    "python -m armcarry.evidence.methods": "writes into the checkout; evidence/test_methods.py compares what it writes",
    "pip install -e '.[view]'": "an install; part of the extra 'test' that .ci/run installs",
    "apt install libegl1 libgl1-mesa-dri": "needs root; .ci/run installs the same packages",
    "bash .ci/run": "runs this suite",
    "bash .ci/wheels": "asks the package index for minutes",
    "bash .ci/wheels test": "asks the package index for minutes",
    "armcarry rehearse scenarios/day_at_tern_yard.yaml": "takes minutes; golden/test_scenarios.py rehearses the file",
    "armcarry series SERIES --out DIR": "rehearses what it names; views/test_series.py runs it",
    "armcarry verify --all": "takes minutes; evidence/test_verify.py runs it with the shortest of its scenarios",
    "armcarry verify [--out DIR]": "takes minutes; evidence/test_verify.py runs it with the shortest of its scenarios",
    "armcarry schedule day_that_may_vary --out best.yaml": "rehearses days; scheduling/test_best.py runs it",
    "armcarry schedule SCENARIO --out NEW.yaml [--for GOAL] [--seed S] [--work N]": "the same",
    "armcarry play RUN": "stays open; views/player/test_window.py runs it under a virtual display",
}
#: an option that the table of commands tells of and no call above has -> the test that has it
ELSEWHERE = {
    "assumptions --all": "evidence/test_assumptions.py",
    "verify --out": "evidence/test_verify.py",
    "verify --all": "evidence/test_verify.py",
    "rehearse --all": "test_cli.py",
    "rehearse --log-columns": "record/test_logged.py",
    "rehearse --second-opinion": "whatif/test_opinions.py",
    "rehearse --slip": "views/test_terminal_slip.py",
    "disperse --cluster": "dispersion/test_campaign.py",
    "disperse --tls-ca": "dispersion/test_campaign.py",
    "disperse --tls-cert": "dispersion/test_campaign.py",
    "disperse --tls-key": "dispersion/test_campaign.py",
    "schedule --out": "scheduling/test_best.py",
    "schedule --for": "scheduling/test_best.py",
    "schedule --seed": "scheduling/test_best.py",
    "schedule --work": "scheduling/test_best.py",
    "edit --recover": "editing/test_command_line.py",
    "edit --new": "editing/test_command_line.py",
    "edit --platform": "editing/test_command_line.py",
    "edit --arm": "editing/test_command_line.py",
    "edit --rules": "editing/test_command_line.py",
    "handfly --score": "handfly/test_command_line.py",
    "handfly --keep": "handfly/test_command_line.py",
}


def _documented(text: str) -> list[str]:
    """Return the shell commands of a page: lines of its blocks and code in its sentences, cut at '&&'."""
    lines = [line.strip().removeprefix("$ ") for block in BLOCK.findall(text) for line in block.splitlines()]
    spans = [" ".join(span.split()) for span in re.findall(r"`([^`]+)`", BLOCK.sub("", text))]
    found = [part for line in (*lines, *spans) if SHELL.match(line) for part in line.split(" && ")]
    return [part for part in dict.fromkeys(found) if not re.fullmatch(r"armcarry \w+", part)]  # a command's name alone


DOCUMENTED = list(dict.fromkeys(command for text in TEXTS.values() for command in _documented(text)))
FIRST = "armcarry rehearse scenarios/pump_box_to_bay_7.yaml"
RUN_HERE = [command for command in DOCUMENTED if command not in NOT_RUN and command != FIRST]


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    """A place with models and scenarios, a home and two small files of the tutorial, where commands may write."""
    folder = tmp_path_factory.mktemp("checkout")
    for name in ("models", "scenarios", "shared"):
        shutil.copytree(ROOT / name, folder / name)
    (folder / "home").mkdir()
    for name, text in re.findall(r"^```\w+ file=(\S+)\n(.*?)^```$", TUTORIAL, re.MULTILINE | re.DOTALL):
        if name in ("first.yaml", "wall.obj", "four.csv"):
            (folder / name).write_text(text)
    return folder


def _type(command: str, folder: Path) -> str:
    """Type a command in a shell and return what it prints; its exit code is 0 or as its comment says."""
    programs = Path(sys.executable).parent  # where an install has put the program of this name
    env = os.environ | {"PATH": f"{programs}{os.pathsep}{os.environ['PATH']}", "HOME": str(folder / "home"),
                        "COLUMNS": "116", "TERM": "dumb", "ARMCARRY_CACHE": str(folder / "cache")}  # fmt: skip
    done = subprocess.run(["bash", "-c", command], cwd=folder, env=env, capture_output=True, text=True, timeout=500)
    said = re.search(r"# exit (\d)$", command)
    assert done.returncode == (int(said.group(1)) if said else 0), f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


#: commands that are typed in a shell, a process each; others run in this one, which spares the start of each
IN_A_SHELL = ("rehearse", "brief", "compare", "disperse", "doctor", "edit", "new", "route")


@pytest.fixture
def typed(checkout, monkeypatch, capsys):
    """Type a command, in this process where it can be: exit code as ``_type``."""
    monkeypatch.chdir(checkout)
    for name, value in (("HOME", str(checkout / "home")), ("COLUMNS", "116"), ("TERM", "dumb")):
        monkeypatch.setenv(name, value)

    def run(command):
        words = shlex.split(command.split(" # exit")[0])
        if words[0] != "armcarry" or words[1] in IN_A_SHELL or words[1].startswith("-") or "*" in command:
            return _type(command, checkout)
        monkeypatch.setattr("sys.argv", words)
        with pytest.raises(SystemExit) as ended:
            main()
        said = re.search(r"# exit (\d)$", command)
        told = capsys.readouterr()
        assert (ended.value.code or 0) == (int(said.group(1)) if said else 0), f"{command}\n{told.out}\n{told.err}"
        return told.out

    return run


def _write_what_it_reads(command: str, folder: Path) -> None:
    for name, writer in WRITES.items():
        if name in command and writer != command and not (folder / name).exists():
            _type(writer, folder)


def test_every_command_is_run_or_named_with_the_reason():
    assert len(DOCUMENTED) > 25
    patterns = {command for command in DOCUMENTED if PLACEHOLDER.search(command)}
    assert patterns <= {*CALLS, *NOT_RUN}, "each usage pattern has its calls"
    assert {*CALLS, *NOT_RUN, FIRST} <= set(DOCUMENTED), "nothing stands here that no page tells of"
    for command, calls in CALLS.items():
        assert any(call.split()[:2] == command.split()[:2] for call in calls)


#: take longest, and the tests of their own rooms run them too
LONG = ("brief", "compare")


@pytest.mark.parametrize(
    "command", [pytest.param(one, marks=pytest.mark.long if one.split()[1] in LONG else ()) for one in RUN_HERE]
)
def test_a_command_runs(command, checkout, typed):
    from armcarry.views import gl

    if command == "armcarry brief RUN" and gl.problem() is not None:
        pytest.skip("no OpenGL here")
    for call in CALLS.get(command, [command]):
        _write_what_it_reads(call, checkout)
        typed(call)


def test_the_readme_shows_what_its_first_command_prints(checkout):
    from armcarry.views import gl

    printed = [line.rstrip() for line in _type(FIRST, checkout).splitlines()]
    # read now: text and program may have moved on together since the tests were collected
    blocks = re.findall(r"(?:^    .*\n)+", (ROOT / "README.md").read_text(), re.MULTILINE)
    (shown,) = [block for block in blocks if "Tightest" in block]
    lines = iter(printed)
    for line in shown.splitlines():
        if line.strip() != "...":
            assert line[4:].rstrip() in lines, f"not printed, or in another order: {line}"
    assert printed[0] == shown.splitlines()[0].strip()
    # golden/test_scenarios.py leaves this scenario's verdicts to this line
    assert re.search(r"^ *As the scenario expects: \d+ verdicts", "\n".join(printed), re.MULTILINE)
    assert next(lines, None) is None
    if gl.problem() is None:
        assert {"overview.png", "tightest.png"} <= {path.name for path in checkout.glob("runs/pump_box*/views/*")}


def test_every_option_that_the_table_of_commands_tells_of_is_used():
    for command, usage, words in re.findall(r"^\| `armcarry (\w+)([^`]*)` \|(.*)\|$", COMMANDS, re.MULTILINE):
        calls = " ".join([*CALLS.get(f"armcarry {command}{usage}", []), *WRITES.values()])
        for option in set(re.findall(r"--[a-z-]+", usage + words)) - set(re.findall(r"--[a-z-]+", calls)):
            test = (ROOT / "tests" / ELSEWHERE[f"{command} {option}"]).read_text()
            assert option in test or option[2:] in test, (command, option)


def test_what_is_not_run_here_is_there():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    markers = [marker.split(":")[0] for marker in project["tool"]["pytest"]["ini_options"]["markers"]]
    ci = (ROOT / ".ci" / "run").read_text()
    for command in NOT_RUN:
        words = command.replace("'", "").split()
        if words[0] == "apt":
            assert all(re.search(rf"\s{re.escape(package)}\s", ci) for package in words[2:])
        for extra in re.findall(r"\.\[(.+)\]", command):
            assert extra in project["project"]["optional-dependencies"]
        if "pytest" in words and "-m" in words[3:]:
            assert words[words.index("-m", 3) + 1] in markers
        for word in words:
            if "/" in word:
                assert (ROOT / word).exists(), command
        if words[0] == "bash":
            subprocess.run(["bash", "-n", str(ROOT / words[1])], check=True)


@pytest.mark.parametrize("name", TEXTS)
def test_files_that_sentences_name_are_there(name):
    spans = re.findall(r"`((?:sim|tests|models|scenarios|shared|\.ci)/[\w./-]+)`", TEXTS[name])
    assert [span for span in spans if not (ROOT / span).exists()] == []


def test_completion_is_installed_and_completes_in_bash(checkout):
    ask = """
    armcarry --install-completion >/dev/null && source "$HOME/.bashrc" && complete -p armcarry || exit 1
    say() {
      COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMPREPLY=()
      _armcarry_completion armcarry; echo "${COMPREPLY[@]}"
    }
    say armcarry ins
    say armcarry rehearse --second
    say armcarry rehearse --pieces c
    say armcarry rehearse scen
    """
    first, *answers = _type(ask, checkout).splitlines()
    assert first.startswith("complete -o default -F ")  # where it answers nothing, bash completes names of files
    assert answers == ["inspect", "--second-opinion", "cubic", ""]
