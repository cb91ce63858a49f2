import json
import os

import pytest

from armcarry.errors import RecordError
from armcarry.views.bookmarks import FILE, FORMAT, LONGEST, MOST, Bookmark, Shelf, read_bookmarks, write_bookmarks

FREE = Bookmark(12.5, "free", "the corner <b>here</b>", (1.0, 2.0, 3.0), (0.0, 0.5, -1.0))


def test_what_is_kept_is_read_again_in_the_order_of_time(tmp_path):
    folder = tmp_path / "views"
    assert read_bookmarks(folder) == ()
    shelf = Shelf(folder)
    assert shelf.keep(FREE) == 0
    assert shelf.keep(Bookmark(3.0, "ev1", "look down")) == 0
    assert shelf.keep(Bookmark(12.5, "follow", "again")) == 1  # in place of the first
    assert read_bookmarks(folder) == shelf.marks
    assert shelf.marks == (Bookmark(3.0, "ev1", "look down"), Bookmark(12.5, "follow", "again"))
    shelf.drop(1)
    assert Shelf(folder).marks == (Bookmark(3.0, "ev1", "look down"),)
    write_bookmarks(folder, [FREE])
    assert read_bookmarks(folder) == (FREE,)


def test_bookmarks_are_gone_through_round_both_ends(tmp_path):
    shelf = Shelf(tmp_path)
    assert shelf.after(0.0, 1) is None
    for time_s in (10.0, 20.0, 30.0):
        shelf.keep(Bookmark(time_s))
    assert [shelf.after(time_s, 1) for time_s in (0.0, 10.0, 25.0, 30.0)] == [0, 1, 2, 0]
    assert [shelf.after(time_s, -1) for time_s in (40.0, 30.0, 15.0, 10.0)] == [2, 1, 0, 2]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "bookmarks.json cannot be read"),
        ("[]", f"holds no bookmarks; accepted: '{FORMAT}' under format"),
        (json.dumps({"format": "else", "bookmarks": []}), "holds no bookmarks"),
        (json.dumps({"format": FORMAT, "bookmarks": [{"time_s": 1.0}] * (MOST + 1)}), f"a list of at most {MOST}"),
        (json.dumps({"format": FORMAT, "bookmarks": [{"time_s": 1.0}, {"time_s": "soon"}]}), "bookmark 2 is none"),
        (json.dumps({"format": FORMAT, "bookmarks": [{"time_s": 1.0, "eye_m": [1, 2]}]}), "three numbers each"),
        (json.dumps({"format": FORMAT, "bookmarks": [{"time_s": True}]}), "bookmark 1 is none"),
    ],
)  # fmt: skip
def test_a_file_that_is_none_is_told_and_left_as_it_is(tmp_path, text, told):
    (tmp_path / FILE).write_text(text)
    with pytest.raises(RecordError, match=FILE) as refused:
        read_bookmarks(tmp_path)
    assert told in str(refused.value)
    shelf = Shelf(tmp_path)
    assert shelf.marks == () and told in shelf.trouble
    with pytest.raises(RecordError, match="it is left as it is: move it elsewhere, and open the run anew"):
        shelf.keep(FREE)
    assert (tmp_path / FILE).read_text() == text


def test_notes_of_others_steer_nothing_and_are_cut(tmp_path):
    long = {"time_s": 1, "note": "\x1b[31m" + "x" * 2 * LONGEST}
    (tmp_path / FILE).write_text(json.dumps({"format": FORMAT, "bookmarks": [long]}))
    (mark,) = read_bookmarks(tmp_path)
    assert mark.note.isprintable() and len(mark.note) == LONGEST


def test_no_more_are_kept_than_are_read(tmp_path):
    write_bookmarks(tmp_path, [Bookmark(float(k)) for k in range(MOST)])
    shelf = Shelf(tmp_path)
    with pytest.raises(RecordError, match=rf"holds {MOST} bookmarks, and no more are kept; drop some first"):
        shelf.keep(Bookmark(0.5))
    assert shelf.keep(Bookmark(1.0, note="anew")) == 1


@pytest.mark.skipif(os.name != "posix", reason="needs links")
def test_no_link_is_followed(tmp_path):
    write_bookmarks(tmp_path / "a", [FREE])
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / FILE).symlink_to(tmp_path / "a" / FILE)
    with pytest.raises(RecordError, match="it is a link"):
        read_bookmarks(tmp_path / "b")
