"""Columns of tables are written as the bytes that they are, and pandas stays outside."""

import subprocess
import sys

import numpy as np

from armcarry.files.parquet import number_column, text_column


def test_numbers_are_written_as_they_are_and_what_is_none_may_be_left_empty():
    values = np.array([1.5, np.nan, -np.inf, 0.1, 5e-324, -0.0, 7.0, 8.0, np.nan, 9.0])
    same = number_column(values).to_numpy()
    assert same.tobytes() == values.tobytes()
    some = number_column(values, nan_is_empty=True)
    assert some.to_pylist() == [1.5, None, -np.inf, 0.1, 5e-324, -0.0, 7.0, 8.0, None, 9.0]
    assert number_column(np.arange(5)).to_pylist() == [0, 1, 2, 3, 4]
    assert number_column(np.arange(12.0).reshape(6, 2)[:, 1]).to_pylist() == [1.0, 3.0, 5.0, 7.0, 9.0, 11.0]
    assert number_column(np.zeros(0)).to_pylist() == []


def test_texts_are_written_by_their_rows():
    which = np.array([2, 0, 0, 1], dtype=np.int32)
    assert text_column(("arm", "", "größe"), which).to_pylist() == ["größe", "arm", "arm", ""]
    assert text_column((), np.zeros(0, dtype=np.int64)).to_pylist() == []


def test_a_table_is_written_without_pandas(tmp_path):
    code = (
        "import sys, numpy as np, pyarrow as pa, pyarrow.parquet as pq\n"
        "from armcarry.files.parquet import number_column, text_column\n"
        "numbers, texts = number_column(np.arange(3.0)), text_column(('a', 'b'), np.array([0, 1, 0]))\n"
        f"pq.write_table(pa.table({{'n': numbers, 't': texts}}), {str(tmp_path / 'some.parquet')!r})\n"
        "print('pandas' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
