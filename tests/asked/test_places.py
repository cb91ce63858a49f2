"""Places of a scene: every kind of them, how far each holds, whose distance counts and what belongs to whom."""

from dataclasses import replace

from armcarry.asked.places import Place, places_of
from armcarry.files.documents.zones import Near
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere

NEAR = {"who": "*", "to": "wall", "at_least": "0.1 m", "why": "hands work"}
BOX = Body("box", "base", Sphere(0.1), poses.identity())
FRAMES = {name: poses.translation((k, 9.0, 0.0)) for k, name in enumerate(("one", "two", "berth_at"))}


def _places(rider_scene, platform, **more):
    scene = rider_scene({}, frames=FRAMES, platform=platform, **more)
    return {place.name: place for place in places_of(scene)}


def _plain(place):
    return (place.frame, place.other_end, place.within_m, place.asks, place.accepts, place.owner)


def test_each_kind_of_place_of_the_platform(rider_scene):
    found = _places(rider_scene, {
        "worksites": {"site": {"title": "s", "stand": "stand", "within": "1.5 m", "near": [NEAR]}},
        "zones": {"spot": {"frame": "one", "within": "2 m", "near": [NEAR]},
                  "track": {"frame": "one", "end": "two", "within": "3 m", "near": [NEAR]}},
        "handrails": {"rail": {"start": "one", "end": "two", "within": "0.5 m", "near": [NEAR]}},
        "seats": {"berth": {"frame": "berth_at", "accepts": ["load"], "within": "0.4 m", "near": [NEAR]},
                  "other": {"frame": "berth_at", "accepts": ["crate"], "within": "0.4 m", "near": [NEAR]}},
    }, held=(BOX,))  # fmt: skip
    assert {name: _plain(place) for name, place in found.items()} == {
        "site": ("platform/stand", None, 1.5, "boots", (), "platform"),
        "spot": ("platform/one", None, 2.0, "boots", (), "platform"),
        "track": ("platform/one", "platform/two", 3.0, "boots", (), "platform"),
        "rail": ("platform/one", "platform/two", 0.5, "hands", (), "platform"),
        "berth": ("platform/berth_at", None, 0.4, "item", ("load",), "platform"),
        "other": ("platform/berth_at", None, 0.4, "item", (), "platform"),
    }
    for place in found.values():
        (near,) = place.near
        assert (near.who, near.to, near.at_least, near.why) == ("*", "wall", 0.1, "hands work")


def test_arm_and_hardware_are_places_too(rider_scene):
    found = _places(
        rider_scene, {"worksites": {}}, held=(BOX,), arm={"near": [NEAR]}, load={"near": [NEAR], "within": "0.7 m"}
    )
    assert _plain(found.pop("load")) == ("load/base", None, 0.7, "hands", (), "load")
    (arm,) = found.values()
    assert (arm.name, *_plain(arm)) == ("arm", "arm/base", None, None, "boots", (), "arm")


def test_a_place_that_grants_nothing_is_none(rider_scene):
    rails = {"handrails": {"rail": {"start": "one", "end": "two", "within": "0.5 m"}}}
    assert _places(rider_scene, rails, held=(BOX,)) == {}


def test_bodies_without_a_stroke_are_the_owners_own():
    def pattern(to):
        near = type("Near", (), {"to": to})()
        return Place("spot", "a/b", None, 1.0, "boots", (), "load", (near,)).bodies(near)

    assert pattern("lid|platform/wall|edge_*") == "load/lid|platform/wall|load/edge_*"
    assert pattern("*") == "load/*"
    assert pattern(None) == "load/*"


def test_the_restraint_is_a_place_for_the_boots_of_others(rider_scene):
    scene = rider_scene({}, frames=FRAMES)
    restraint = scene.loaded.restraint
    document = restraint.document.model_copy(update={"near": [Near.model_validate(NEAR)], "within": 1.25})
    loaded = replace(scene.loaded, restraint=replace(restraint, document=document))
    (found,) = places_of(replace(scene, loaded=loaded))
    assert (found.name, *_plain(found)) == ("restraint", "restraint/plate", None, 1.25, "boots", (), "restraint")
    assert [near.why for near in found.near] == ["hands work"]


def test_a_seat_takes_an_item_by_its_own_name_its_models_or_that_of_the_models_file(rider_scene):
    seats = {"seats": {name: {"frame": "berth_at", "accepts": [name], "within": "0.4 m", "near": [NEAR]}
                       for name in ("load", "crate_model", "none")}}  # fmt: skip
    scene = rider_scene({}, frames=FRAMES, platform=seats, held=(BOX,),
                        script={"hardware": {"load": {"model": "crate_model", "at": "ev1/hands"}}})  # fmt: skip
    found = {place.name: place.accepts for place in places_of(scene)}
    assert found == {"load": ("load",), "crate_model": ("load",), "none": ("load",)}  # the file is called none
