"""The demo carry made larger: about a platform of many more bodies, or for many more hours."""

import shutil
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "scenarios" / "pump_box_to_bay_7.yaml"
#: how far from the keel further bodies begin: out of reach of all that moves, m
_CLEAR_M = 22.0


def large_yard(folder: Path, bodies: int, laps: int = 0, rate: float = 1.0) -> Path:
    """Write the demo carry about a platform with further bodies, flown to and fro along the keel, return its path.

    Args:
        folder: where scenario and platform go.
        bodies: how many boxes stand about the yard besides, out of reach.
        laps: how often the long leg is flown to and fro besides; a lap takes three and a half minutes.
        rate: share of the joint rates at which these legs are flown.
    """
    yard = folder / "models" / "platforms" / "large_yard"
    shutil.copytree(ROOT / "models" / "platforms" / "tern_yard", yard)
    (yard / "tern_yard.yaml").rename(yard / "large_yard.yaml")
    rng = np.random.default_rng(7)
    boxes = []
    for k in range(bodies):
        turn = rng.uniform(0.0, 2 * np.pi)
        away = rng.uniform(_CLEAR_M, 4 * _CLEAR_M)
        x, y, z = rng.uniform(-40.0, 40.0), away * np.cos(turn), away * np.sin(turn)
        size = " ".join(f"{edge:.3f}" for edge in rng.uniform(0.1, 0.8, 3))
        boxes.append(
            f'    <collision name="further_{k}"><origin xyz="{x:.3f} {y:.3f} {z:.3f}" rpy="{turn:.3f} 0 0"/>'
            f'<geometry><box size="{size}"/></geometry></collision>\n'
        )
    urdf = yard / "tern_yard.urdf"
    before, keel, after = urdf.read_text(encoding="utf-8").partition('  <link name="keel">\n')
    urdf.write_text(before + keel + "".join(boxes) + after, encoding="utf-8")
    text = SOURCE.read_text(encoding="utf-8").replace("platform: tern_yard", "platform: large_yard")
    text = text.split("\npictures:\n", 1)[0] + "\n"
    long_leg = text.index("      - {line: {frame: platform/bay_7_stand, to: [-2.1 m, 3.3 m, 2.65 m]}, name: along")
    places = (("to", "bay_7", "3.3"), ("fro", "rack_a", "-3.7"))
    legs = [
        f"      - {{name: {name}_{lap}, rate: {rate}, "
        f"line: {{frame: platform/{place}_stand, to: [-2.1 m, {y} m, 2.65 m]}}}}\n"
        for lap in range(laps) for name, place, y in places
    ]
    path = folder / "large.yaml"
    path.write_text(text[:long_leg] + "".join(legs) + text[long_leg:], encoding="utf-8")
    return path
