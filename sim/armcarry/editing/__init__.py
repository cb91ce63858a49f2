"""A script changed step by step, answered at once: what changed is planned, timed and proven again; no window.

``Session`` is the way in; it says what may be done, and gives an ``Answer`` to each change.
"""

from armcarry.editing.answer import Answer, Tight
from armcarry.editing.script import Change, Op
from armcarry.editing.session import Session

__all__ = ["Answer", "Change", "Op", "Session", "Tight"]
