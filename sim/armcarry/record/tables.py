"""The record's tables as Parquet: exact pieces, samples for people, clearance rows and curves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.parquet import Limits
from armcarry.geometry import poses
from armcarry.motion.curve import Motion
from armcarry.record.folder import Folder
from armcarry.record.record import Curve, PairRow, Record

SAMPLE_S = 0.5
PIECES, PAIRS, CURVES = "motion_pieces.parquet", "clearance.parquet", "clearance_curve.parquet"
#: no motion of ours has pieces of higher degree, nor does a scene have more classes of bodies in groups
MOST_POWERS, MOST_GROUPS = 12, 5_000
#: each row of pairs becomes an object of a kilobyte; a day of six hours has some 130,000
MOST_PAIRS = Limits(rows=500_000)

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
    pq.write_table(pa.table(pieces), folder / PIECES)

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
    pq.write_table(pa.table(columns), folder / "motion.parquet")


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


def write_pairs(pairs: tuple[PairRow, ...], path: Path) -> None:
    """Write clearance.parquet, one row a pair and window."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    scalars = ("body_a", "body_b", "class_a", "class_b", "why", "status")
    numbers = ("start_s", "end_s", "required_m", "lower_m", "upper_m", "time_s")
    columns: dict[str, Any] = {name: pa.array([getattr(r, name) for r in pairs], pa.string()) for name in scalars}
    columns |= {name: pa.array([getattr(r, name) for r in pairs], pa.float64()) for name in numbers}
    for end in "ab":
        for k, axis in enumerate("xyz"):
            columns[f"point_{end}_{axis}_m"] = pa.array([getattr(r, f"point_{end}")[k] for r in pairs], pa.float64())
    fields = [pa.field(name, column.type, metadata={"description": PAIR_COLUMNS[name]})
              for name, column in columns.items()]
    pq.write_table(pa.table(list(columns.values()), schema=pa.schema(fields)), path)


def read_pairs(folder: Folder) -> tuple[PairRow, ...]:
    """Read clearance.parquet back. Raises ValueError, RecordError."""
    table = folder.table(PAIRS, MOST_PAIRS)
    texts = [table.texts(name) for name in ("body_a", "body_b", "class_a", "class_b")]
    times = [table.numbers(name).tolist() for name in ("start_s", "end_s")]
    required = [None if value != value else value for value in table.numbers("required_m", empty=True).tolist()]
    words = [table.texts(name) for name in ("why", "status")]
    bounds = [table.numbers(name).tolist() for name in ("lower_m", "upper_m", "time_s")]
    points = [zip(*(table.numbers(f"point_{end}_{axis}_m").tolist() for axis in "xyz"), strict=True) for end in "ab"]
    return tuple(map(PairRow, *texts, *times, required, *words, *bounds, *points))


def write_curves(curves: tuple[Curve, ...], path: Path) -> None:
    """Write clearance_curve.parquet: proven band of the least distance by group of classes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    def column(get: Any) -> Any:
        parts = [get(curve) for curve in curves]
        return np.concatenate(parts) if parts else np.zeros(0)

    groups = [curve.group for curve in curves for _ in curve.lower_m]
    columns: dict[str, Any] = {
        "group": pa.array(groups, pa.string()),
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
