import math

import pytest
from pydantic import ValidationError

from armcarry.files.documents.environment import Environment

GOOD = {
    "start": "2031-03-21T09:30:00Z",
    "orbit": {"altitude": "400 km", "inclination": "51.6 deg", "node": "40 deg", "argument": "10 deg"},
}


def _with(**changes):
    return {**GOOD, "orbit": {**GOOD["orbit"], **changes}}


def test_it_is_read_into_si():
    environment = Environment.model_validate(GOOD)
    assert environment.orbit.altitude == pytest.approx(400e3)
    assert environment.orbit.inclination == pytest.approx(math.radians(51.6))
    assert environment.start.utcoffset().total_seconds() == 0
    assert environment.sun_limits.visor == pytest.approx(math.radians(30))


def test_another_offset_is_the_same_instant():
    moved = Environment.model_validate({**GOOD, "start": "2031-03-21T11:30:00+02:00"})
    assert moved.start == Environment.model_validate(GOOD).start


@pytest.mark.parametrize(
    ("document", "message"),
    [
        ({**GOOD, "start": "2031-03-21T09:30:00"}, "Input should have timezone info"),
        ({**GOOD, "start": "1890-03-21T09:30:00Z"}, "computed for the years 1950 to 2050; found 1890"),
        (_with(altitude="90 km"), "outside the accepted range; found '90 km'.*120 km to 2000 km"),
        (_with(altitude="36000 km"), "outside the accepted range; found '36000 km'.*120 km to 2000 km"),
        (_with(altitude=400), "a bare number, the unit is missing"),
        (_with(inclination="-5 deg"), "outside the accepted range; found '-5 deg'.*0 deg to 180 deg"),
        (_with(inclination="190 deg"), "outside the accepted range; found '190 deg'.*0 deg to 180 deg"),
        ({**GOOD, "attitude": {"holds": "sun"}}, "Input should be 'local' or 'inertial'"),
        ({**GOOD, "moon": 1}, "Extra inputs are not permitted"),
    ],
)
def test_what_is_refused_and_why(document, message):
    with pytest.raises(ValidationError, match=message):
        Environment.model_validate(document)
