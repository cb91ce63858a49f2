"""The record's tables as Parquet: exact pieces, samples for people, clearance rows and curves."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.parquet import Limits, number_column, text_column
from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.record.folder import Folder
from armcarry.record.pairs import STATUS, PairRow, PairTable
from armcarry.record.record import Curve, Record

SAMPLE_S = 0.5
PIECES, PAIRS, CURVES = "motion_pieces.parquet", "clearance.parquet", "clearance_curve.parquet"
#: no motion of ours has pieces of higher degree, nor does a scene have more classes of bodies in groups
MOST_POWERS, MOST_GROUPS = 12, 5_000
#: a row takes 120 bytes; a day of six hours has some 130,000, a carry about 10,000 bodies a million
MOST_PAIRS = Limits(rows=2_000_000)
_POINTS = tuple(f"point_{end}_{axis}_m" for end in "ab" for axis in "xyz")

#: what each column of clearance.parquet says; written into the file, and into shared/reference/run_folder.md
PAIR_COLUMNS = {
    "body_a": "first body, by full name",
    "body_b": "second body",
    "class_a": "class of the first body as the rules name it",
    "class_b": "class of the second body",
    "why": "'rule', 'no rule', the reason of a relaxation, 'it sits in its seat', 'one joint between' or 'intended "
    "contact'",
    "status": "proven, farther (than the report distance), contact, intended (declared contact, not measured), or "
    "unresolved (the proof was given up, contact is not ruled out)",
    "start_s": "first instant this row is about, seconds from the start of the run",
    "end_s": "last instant",
    "required_m": "least distance asked for then; empty where no rule covers the two classes",
    "lower_m": "proven at every instant of the row: the bodies are never nearer; -inf in contact or unresolved",
    "upper_m": "distance at time_s; at most 1 mm above lower_m when proven, inf where never measured",
    "time_s": "instant of upper_m",
    **{f"point_{end}_{axis}_m": f"{axis} of the nearest point on the {word} body at time_s, world"
       for end, word in (("a", "first"), ("b", "second")) for axis in "xyz"},
}


def write_motion(record: Record, folder: Path) -> None:
    """Write motion_pieces.parquet (exact polynomials) and motion.parquet (samples each half second)."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    motion = record.motion
    count, powers, _ = motion.coefficients.shape
    pieces: dict[str, Any] = {
        "piece": np.repeat(np.arange(count), powers),
        "power": np.tile(np.arange(powers), count),
        "start_s": np.repeat(motion.breaks_s[:-1], powers),
        "end_s": np.repeat(motion.breaks_s[1:], powers),
    }
    for k, joint in enumerate(motion.joints):
        pieces[joint] = motion.coefficients[:, :, k].ravel()
    pq.write_table(pa.table({name: number_column(values) for name, values in pieces.items()}), folder / PIECES)

    times = np.union1d(np.arange(motion.start_s, motion.end_s, SAMPLE_S), motion.breaks_s)
    position, rate = motion.at(times), motion.at(times, 1)
    columns: dict[str, Any] = {"time_s": times}
    moving = np.flatnonzero(np.any(motion.coefficients[:, 1:] != 0, axis=(0, 1)))
    moving = np.union1d(moving, record.scene.arm_columns)
    for k in moving.tolist():
        unit = "rad" if record.scene.tree.revolute[k] else "m"
        columns[f"{motion.joints[k]}_{unit}"] = position[:, k]
        columns[f"{motion.joints[k]}_rate_{unit}_s"] = rate[:, k]
    tips = record.link_path(record.scene.arm_tip, times)
    for k, axis in enumerate("xyz"):
        columns[f"tip_{axis}_m"] = tips[:, k, 3]
    quaternions = poses.quaternion_wxyz(tips)
    for k, part in enumerate("wxyz"):
        columns[f"tip_q{part}"] = quaternions[:, k]
    samples = pa.table({name: number_column(values) for name, values in columns.items()})
    pq.write_table(samples, folder / "motion.parquet")


def read_motion(folder: Folder) -> Motion:
    """Read motion_pieces.parquet back, bit for bit. Raises ValueError, RecordError."""
    table = folder.table(PIECES)
    _, _, _, _, *joints = table.columns
    piece, power = table.numbers("piece"), table.numbers("power")
    powers = int(power.max(initial=-1.0)) + 1
    if not 1 <= powers <= MOST_POWERS or table.rows % powers:
        raise ValueError(f"{PIECES}: pieces of {powers} powers, 1 to {MOST_POWERS} are read")
    count = table.rows // powers
    if not (np.array_equal(piece, np.repeat(np.arange(count), powers))
            and np.array_equal(power, np.tile(np.arange(powers), count))):  # fmt: skip
        raise ValueError(f"{PIECES}: pieces that are not in order")
    starts, ends = table.numbers("start_s")[::powers], table.numbers("end_s")[::powers]
    coefficients = np.stack([table.numbers(joint) for joint in joints], axis=-1)
    return Motion(tuple(joints), np.append(starts, ends[-1]), coefficients.reshape(count, powers, len(joints)))


def write_pairs(rows: Sequence[PairRow], path: Path) -> None:
    """Write clearance.parquet, one row a pair and window."""
    pairs = PairTable.of(rows)
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns: dict[str, Any] = {
        name: text_column(pairs.names if name.startswith("body") else pairs.words, getattr(pairs, name))
        for name in ("body_a", "body_b", "class_a", "class_b", "why")
    }
    columns["status"] = text_column(STATUS, pairs.status)
    for name in ("start_s", "end_s", "required_m", "lower_m", "upper_m", "time_s"):
        columns[name] = number_column(getattr(pairs, name), nan_is_empty=name == "required_m")
    for k, name in enumerate(_POINTS):
        columns[name] = number_column(pairs.points[:, k])
    fields = [pa.field(name, column.type, metadata={"description": PAIR_COLUMNS[name]})
              for name, column in columns.items()]
    pq.write_table(pa.table(list(columns.values()), schema=pa.schema(fields)), path)


def read_pairs(folder: Folder) -> PairTable:
    """Read clearance.parquet back. Raises ValueError, RecordError."""
    table = folder.table(PAIRS, MOST_PAIRS)
    columns: dict[str, np.ndarray] = {}
    names, words = dict[str, int](), dict[str, int]()
    for known, some in ((names, ("body_a", "body_b")), (words, ("class_a", "class_b", "why"))):
        for name in some:
            texts, which = table.words(name)
            columns[name] = np.array([known.setdefault(text, len(known)) for text in texts], dtype=np.int32)[which]
    texts, which = table.words("status")
    if not set(texts) <= set(STATUS):
        unknown = next(text for text in texts if text not in STATUS)
        raise ValueError(f"clearance.parquet: status '{unknown}'; known: {', '.join(STATUS[2:] + STATUS[:2])}")
    columns["status"] = np.array([STATUS.index(text) for text in texts], dtype=np.int8)[which]
    for name in ("start_s", "end_s", "required_m", "lower_m", "upper_m", "time_s"):
        columns[name] = table.numbers(name, empty=name == "required_m")
    columns["points"] = np.stack([table.numbers(name) for name in _POINTS], axis=1)
    return PairTable(tuple(names), tuple(words), columns)


def write_curves(curves: tuple[Curve, ...], path: Path) -> None:
    """Write clearance_curve.parquet: proven band of the least distance by group of classes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    def column(get: Any) -> Any:
        parts = [get(curve) for curve in curves]
        return number_column(np.concatenate([np.zeros(0), *parts]))

    groups = np.repeat(np.arange(len(curves)), [len(curve.lower_m) for curve in curves])
    columns: dict[str, Any] = {
        "group": text_column([curve.group for curve in curves], groups),
        "required_m": column(lambda c: np.full(len(c.lower_m), c.required_m)),
        "start_s": column(lambda c: c.times_s[:-1]),
        "end_s": column(lambda c: c.times_s[1:]),
        "lower_m": column(lambda c: c.lower_m),
        "upper_m": column(lambda c: c.upper_m),
    }
    pq.write_table(pa.table(columns), path)


def read_curves(folder: Folder) -> tuple[Curve, ...]:
    """Read clearance_curve.parquet back. Raises ValueError, RecordError."""
    table = folder.table(CURVES)
    groups = table.texts("group")
    numbers = [table.numbers(name) for name in ("required_m", "start_s", "end_s", "lower_m", "upper_m")]
    rows: dict[str, list[int]] = {}
    for row, group in enumerate(groups):
        rows.setdefault(group, []).append(row)
    if len(rows) > MOST_GROUPS:
        raise ValueError(f"{CURVES}: {len(rows)} groups, at most {MOST_GROUPS} are read")
    curves = []
    for group, found in rows.items():
        required, starts, ends, lower, upper = (values[found] for values in numbers)
        curves.append(Curve(group, float(required[0]), np.append(starts, ends[-1]), lower, upper))
    return tuple(curves)
