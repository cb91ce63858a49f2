"""The notebook in shared/ runs cell by cell, and what its cells end with can be shown."""

import ast
import json
from pathlib import Path

NOTEBOOK = Path(__file__).resolve().parents[1] / "shared" / "first_steps.ipynb"


def _run(source, names):
    """Run a cell and return the value of its last expression, as a notebook shows it; None where there is none."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, str(NOTEBOOK), "exec"), names)  # noqa: S102
    if last is None:
        return None
    return eval(compile(ast.Expression(last.value), str(NOTEBOOK), "eval"), names)  # noqa: S307


def test_the_notebook_runs_cell_by_cell_and_shows_what_it_says(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    notebook = json.loads(NOTEBOOK.read_text(encoding="utf-8"))
    assert (notebook["nbformat"], all(not cell.get("outputs") for cell in notebook["cells"])) == (4, True)
    names = {"__name__": "notebook"}
    code = ("".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code")
    shown = [_run(source, names) for source in code]
    record, findings = names["record"], names["findings"]
    assert record in shown and findings in shown and True in shown
    assert "<svg" in record._repr_html_() and "passed" in findings._repr_html_()
    assert [row[0] for row in shown[-1]] == [row["verdict"] for row in names["rows"]]
    assert {row["error"] for row in names["rows"]} == {""}
