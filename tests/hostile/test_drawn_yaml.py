"""Documents drawn by their structure: from the schemas, from good documents taken apart, and from nothing."""

import copy
import json
import re

import pytest
from hypothesis import strategies as st

KINDS = ("arm", "crew", "hardware", "platform", "restraint", "rules", "scenario")
#: text that needs no quotes
LONE = re.compile(r"[A-Za-z_]([A-Za-z0-9_ /.*-]*[A-Za-z0-9])?|[-+]?[0-9]+(\.[0-9]+)? [a-z][a-z/^2]*")


class Written(str):
    """Text that goes into the file as it stands: anchors, tags, things that are not YAML."""


class Pairs(list):
    """A mapping as pairs, so that a key may stand twice."""


def text_of(value, indent=0):
    """Write a value as YAML in block style."""
    pad = " " * indent
    if isinstance(value, Written):
        return f" {value}\n"
    if isinstance(value, Pairs) and value:
        return "\n" + "".join(f"{pad}{_key(key)}:{text_of(inner, indent + 2)}" for key, inner in value)
    if isinstance(value, list) and value and not isinstance(value, Pairs):
        return "\n" + "".join(f"{pad}-{text_of(inner, indent + 2)}" for inner in value)
    return f" {_scalar(value)}\n"


def _key(key):
    return key if isinstance(key, Written) else _scalar(key)


def _scalar(value):
    if isinstance(value, Pairs):
        return "{}"
    if isinstance(value, str) and LONE.fullmatch(value) and value not in ("true", "false", "null"):
        return value
    return json.dumps(value)


def pairs_of(value):
    """Return parsed data with mappings as pairs."""
    if isinstance(value, dict):
        return Pairs([key, pairs_of(inner)] for key, inner in value.items())
    return [pairs_of(inner) for inner in value] if isinstance(value, list) else value


NUMBERS = st.one_of(
    st.integers(-10, 10).map(str), st.floats(-1e3, 1e3).map("{:.3g}".format),
    st.sampled_from(["1e9", "-0", "1e400", "1e-320", "nan", "inf", ".5", "5.", "0x10", "1_000", "9" * 60, "１"]),
)  # fmt: skip
UNITS = st.sampled_from(
    ["m", "mm", "ft", "in", "deg", "rad", "s", "min", "h", "kg", "lb", "N", "m/s", "mm/s", "deg/s", "m/s^2", "deg/s^2",
     "%", "", "M", "degC", "m^9", "m/0", "1/m", "m**1e9", "meter/second", "kg*m", "µm", "()", "m m"]
)  # fmt: skip
QUANTITIES = st.one_of(
    st.builds("{} {}".format, NUMBERS, UNITS), st.builds("{}{}".format, NUMBERS, UNITS),
    st.sampled_from(["1:30", "0:00:00", "-1:59:59.5", "1:60", "99999999999999:00"]),
)  # fmt: skip
NAMES = st.sampled_from(
    ["a", "ev1", "ev2", "heron", "tern_yard", "suited", "base", "tip", "heron/tip", "tern_yard/*", "*", "x|y",
     "default", "elbow_bend", "handhold", "foot_restraint", "pump_box", "A", "1a", "a" * 47, "a" * 60, "é", "",
     "a/b/c", "stow"]
)  # fmt: skip
FILES = st.sampled_from(
    ["heron.urdf", "thermal_blanket.urdf", "suited_medium.urdf", "pump_box.urdf", "visitor.urdf", "cube.obj",
     "none.urdf", "../inner/heron.urdf", "../secret.obj", "leads_out.obj", "/etc/passwd", "~/a.urdf", "file:///etc/passwd",
     ".", "..", "", "meshes", "a" * 300 + ".urdf", "a/" * 190, "a\0b.urdf", "heron.urdf/x", "\\\\server\\x",
     "\ud800.urdf", "own/arm.yaml", "a.yaml", "x" * 300 + ".yaml"]
)  # fmt: skip
WRITTEN = st.sampled_from(
    ["*a", "&a 1", "&a {x: *a}", "!!python/object/apply:os.system [ls]", "!!int '1'", "! x", "<<", "|\n  text",
     ">-\n text", "? a", "[1, 2", "{a: 1", "'open", '"\\ud800"', '"\\x1b[2J"', '"\\q"', "@x", "`x`", "%x", "\t1",
     "# none", "1\n---\n2", "- - -", "a: b: c", "\u2028", "\x85", "\ufeff", "[" * 30 + "]" * 30, "1e5", "0o17", "yes",
     "2026-01-01", "1:30:00", "~"]
).map(Written)  # fmt: skip
SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**40), 10**40), st.floats(allow_nan=False, allow_infinity=False),
    QUANTITIES, NAMES, FILES, WRITTEN, st.text(max_size=12), st.text("x\n ", min_size=1, max_size=3000),
)  # fmt: skip
ANYTHING = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.lists(st.tuples(st.one_of(NAMES, WRITTEN), inner).map(list), max_size=4).map(Pairs),
    ),
    max_leaves=8,
)


@st.composite
def from_schema(draw, schema, whole, harm):
    """Draw a value of a JSON Schema; ``harm`` is the share in percent of places that get anything else."""
    if draw(st.integers(0, 99)) < harm:
        return draw(ANYTHING)
    more = lambda inner: draw(from_schema(inner, whole, harm))  # noqa: E731
    if "$ref" in schema:
        return more(whole["$defs"][schema["$ref"].rsplit("/", 1)[1]])
    for word in ("anyOf", "oneOf"):
        if word in schema:
            return more(draw(st.sampled_from(schema[word])))
    if "const" in schema:
        return schema["const"]
    if "enum" in schema:
        return draw(st.sampled_from(schema["enum"]))
    kind = schema.get("type")
    if kind == "object":
        return _mapping(draw, schema, more, harm)
    if kind == "array":
        if "prefixItems" in schema:
            return [more(inner) for inner in schema["prefixItems"]]
        count = draw(st.integers(schema.get("minItems", 0), schema.get("minItems", 0) + 2))
        return [more(schema.get("items", {"type": "string"})) for _ in range(count)]
    if kind == "boolean":
        return draw(st.booleans())
    if kind in ("integer", "number"):
        return draw(st.integers(0, 12) if kind == "integer" else st.floats(0.0, 2.0))
    if kind == "null":
        return None
    if "examples" in schema:
        return draw(st.one_of(st.sampled_from(schema["examples"]), QUANTITIES))
    return draw(NAMES if "pattern" in schema else st.one_of(NAMES, FILES))


def _mapping(draw, schema, more, harm):
    pairs = Pairs()
    for key, inner in schema.get("properties", {}).items():
        needed = key in schema.get("required", ())
        if draw(st.integers(0, 99)) < (100 - harm if needed else 25):
            pairs.append([key, draw(FILES) if "urdf" in key and draw(st.booleans()) else more(inner)])
    free = schema.get("additionalProperties") or next(iter(schema.get("patternProperties", {}).values()), None)
    for _ in range(draw(st.integers(0, 2)) if free else 0):
        words = schema.get("propertyNames", {}).get("enum")
        pairs.append([draw(st.sampled_from(words) if words else NAMES), more(free)])
    while draw(st.integers(0, 99)) < harm:  # an unknown key, or one that stands twice
        known = st.sampled_from([key for key, _ in pairs] or ["a"])
        pairs.append([draw(st.one_of(NAMES, WRITTEN, known)), draw(ANYTHING)])
    return pairs


@st.composite
def taken_apart(draw, goods):
    """Draw a good document with one to four places changed, left out, doubled or exchanged."""
    data = pairs_of(json.loads(draw(st.sampled_from(goods))))
    for _ in range(draw(st.sampled_from([1, 1, 1, 1, 2, 3]))):  # more than one is mostly refused for the first
        places = list(_places(data))
        if not places:
            break
        holder, key = draw(st.sampled_from(places))
        at = holder[key] if isinstance(holder, Pairs) else holder
        slot = 1 if isinstance(holder, Pairs) else key
        match draw(st.integers(0, 9)):
            case 0 | 1:
                at[slot] = draw(SCALARS)
            case 2:
                at[slot] = draw(ANYTHING)
            case 3:
                del holder[key]
            case 4:
                holder.append(list(holder[key]) if isinstance(holder, Pairs) else holder[key])
            case 5:
                other, there = draw(st.sampled_from(places))
                at[slot] = copy.deepcopy(other[there][1] if isinstance(other, Pairs) else other[there])
            case 6 if isinstance(holder, Pairs):
                at[0] = draw(st.one_of(NAMES, WRITTEN))
            case 7:
                at[slot] = draw(QUANTITIES)
            case 8 | 9:  # another file in the place of a URDF or a mesh
                named = [inner[k] for inner, k in places if isinstance(inner, Pairs) and "urdf" in inner[k][0]]
                if named:
                    draw(st.sampled_from(named))[1] = draw(FILES)
    return data


def _places(value):
    """Yield every mapping or list with each of its places."""
    for key, inner in enumerate(value):
        yield value, key
        inner = inner[1] if isinstance(value, Pairs) else inner
        if isinstance(inner, list):
            yield from _places(inner)


@pytest.fixture(scope="module")
def goods(kit):
    from armcarry.files.yaml_text import parse_yaml

    texts = [*kit.shipped("models/*/*/*.yaml"), *kit.shipped("scenarios/*.yaml")]
    return [json.dumps(parse_yaml(text, "a").data) for text in texts if len(text) < 7000]


def _feed(kit, watch, folder, strategy, record_property):
    path = folder / "a.yaml"
    (_,), read = kit.READERS["yaml"]

    def feed(value):
        path.write_bytes(text_of(value).lstrip("\n").encode("utf-8", "surrogatepass"))
        return kit.read_fairly(watch, folder, path, read)

    before = kit.listing(folder.parent, but=path)
    fed, accepted = kit.feed_drawn(strategy, feed, max(30, kit.COUNT // 2), record_property)
    assert kit.listing(folder.parent, but=path) == before
    assert accepted < fed
    return accepted


def test_good_documents_are_written_so_that_they_are_read(kit, watch, folder, goods):
    # else nothing below would get far
    from armcarry.files.yaml_text import parse_yaml

    for good in goods:
        written = text_of(pairs_of(json.loads(good))).lstrip("\n")
        assert parse_yaml(written.encode(), "a").data == json.loads(good)


def test_documents_drawn_from_the_schemas(kit, watch, folder, record_property):
    from armcarry.files import places

    schemas = [json.loads((places.shared_folder() / "schemas" / f"{kind}.schema.json").read_text()) for kind in KINDS]
    drawn = st.sampled_from(schemas).flatmap(
        lambda schema: st.sampled_from([0, 1, 5]).flatmap(lambda harm: from_schema(schema, schema, harm))
    )
    _feed(kit, watch, folder, drawn, record_property)


def test_good_documents_taken_apart(kit, watch, folder, goods, record_property):
    assert _feed(kit, watch, folder, taken_apart(goods), record_property) > 0


def test_documents_drawn_from_nothing(kit, watch, folder, record_property):
    beginnings = st.sampled_from(["", "format: armcarry arm 1\n", "format: armcarry scenario 1\ntitle: t\n"])
    drawn = st.builds(lambda begin, value: Written(f"{begin}{text_of(value)}"), beginnings, ANYTHING)
    _feed(kit, watch, folder, drawn, record_property)
