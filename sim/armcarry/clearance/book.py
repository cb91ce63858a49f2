"""One argument for all arrays of a kernel: a table of addresses and shapes.

A numba function pays for every array it is handed, eight words a call, and compiles slower for each. The
kernels here share some forty arrays, so they are handed the address of a *book* (pages, 4) of address and
three sizes, and each function opens the pages that it reads. The owner of a book (Pool) keeps all alive.

Large inner kernels are compiled on their own and called by an address in the book as well: numba would
otherwise optimise and emit their code anew in every function above them, which doubled the first start.
"""

# mypy: disable-error-code="no-untyped-def,no-untyped-call"
from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.extending import intrinsic
from numba.np.arrayobj import make_array, populate_array

# pages; sizes: B bodies, F frames, M movers (m of them move), K pieces, D degree
#   FORM (B, 3), SIZE (B, 5), VERTS (V, 3): see support.py
#   PARENT (F,), SLIDES (F,), HANG (F, 12), LEVER (F,): see frames.py
#   BODY, BASE, ON (M,), CORE (M, 12), FIRST, LAST, SLOT (M,), LINKS (L,): see frames.py
#   BREAKS (K+1,), POLY (K, F, D+1), VARIES, SCALE (K, F), TRAVEL (K,), BERNSTEIN (D+1, D+1): see polynomials.py
#   from TALLY to OUT: see pool.py; the last pages are addresses of kernels
PAGE_COUNT = 54
(
    FORM, SIZE, VERTS, PARENT, SLIDES, HANG, LEVER, BODY, BASE, ON, CORE, FIRST, LAST, SLOT, LINKS,
    BREAKS, POLY, VARIES, SCALE, TRAVEL, BERNSTEIN, TALLY, NODE_T, NODE_Q, FRAME, POSE, POSE_EPOCH, ENDS,
    PIECES, CHILD, STEP, STRAY, BEND, BEND_EPOCH, PLANE, PLANE_TAG, STACK, BALL, CENTRE, ROOT_BEND, APART,
    BERN, ARM, WORK, OUT, ANSWER, ADD_NODE, ADD_CELL, PLANT, FIND_BEND, GAP, GJK, SEARCH, CONTACT,
) = range(PAGE_COUNT)  # fmt: skip
# the entries of TALLY
NODES, CELLS, EPOCH, SERIAL, FULL, GJKS = range(6)
#: the time tree starts from about this many cells of like travel
MAX_ROOTS = 96


def write_page(book: np.ndarray, page: int, array: np.ndarray) -> None:
    """Enter a contiguous float64 or int64 array; the caller keeps it alive while the book is used."""
    if not array.flags.c_contiguous or array.dtype not in (np.float64, np.int64):
        raise TypeError(f"page {page} must be contiguous float64 or int64")
    book[page] = array.ctypes.data, *array.shape, *([1] * (3 - array.ndim))


def write_pages(book: np.ndarray, first: int, arrays: Sequence[np.ndarray]) -> None:
    """Enter arrays on consecutive pages."""
    for offset, array in enumerate(arrays):
        write_page(book, first + offset, array)


def _entries(builder, book, page, count):
    """Load the first entries of a page."""
    word = ir.IntType(64)
    table = builder.inttoptr(book, word.as_pointer())
    row = builder.mul(page, word(4))
    return [builder.load(builder.gep(table, [builder.add(row, word(k))])) for k in range(count)]


def _opener(element, ndim):
    """Return a function (book, page) -> array, made in place without a call and without counting references."""

    @intrinsic
    def open_page(typingctx, book, page):
        """Open one page."""
        array_type = types.Array(element, ndim, "C")

        def emit(context, builder, signature, arguments):
            word = ir.IntType(64)
            address, *sizes = _entries(builder, arguments[0], arguments[1], ndim + 1)
            strides = [word(8)]
            for size in sizes[:0:-1]:
                strides.insert(0, builder.mul(strides[0], size))
            array = make_array(array_type)(context, builder)
            populate_array(
                array, data=builder.inttoptr(address, array.data.type), shape=sizes, strides=strides,
                itemsize=word(8), meminfo=None,
            )  # fmt: skip
            return array._getvalue()

        return array_type(types.int64, types.int64), emit

    return open_page


real1, real2, real3 = (_opener(types.float64, ndim) for ndim in (1, 2, 3))
whole1, whole2 = (_opener(types.int64, ndim) for ndim in (1, 2))


def _caller(result):
    """Return a function (book, page, wholes, reals) that calls the kernel whose address is on a page."""

    @intrinsic
    def call_page(typingctx, book, page, wholes, reals):
        """Call with the book, a tuple of int64 and a tuple of float64."""
        wanted = types.UniTuple(types.int64, len(wholes)), types.UniTuple(types.float64, len(reals))

        def emit(context, builder, signature, arguments):
            word, real = ir.IntType(64), ir.DoubleType()
            shape = ir.FunctionType(
                word if result is types.int64 else real, [word] * (1 + len(wholes)) + [real] * len(reals)
            )
            (address,) = _entries(builder, arguments[0], arguments[1], 1)
            values = [builder.extract_value(part, k) for part, typ in zip(arguments[2:], wanted, strict=True)
                      for k in range(len(typ))]  # fmt: skip
            return builder.call(builder.inttoptr(address, shape.as_pointer()), [arguments[0], *values])

        return result(types.int64, types.int64, *wanted), emit

    return call_page


call_whole, call_real = _caller(types.int64), _caller(types.float64)
