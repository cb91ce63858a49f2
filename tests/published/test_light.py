"""Sun, shadow and beta angle against published values; tolerances in physical units."""

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.scene import light
from measures import night_share

TABLES = Path(__file__).resolve().parents[2] / "shared" / "tables"
KM = 1e3


def test_the_julian_date_of_the_sun_example():
    assert light.julian_date(datetime(2006, 4, 2, tzinfo=UTC)) == 2453827.5  # Vallado, example 5-1


def test_the_sun_on_2_april_2006():
    # Vallado, example 5-1: mean of date, km; right ascension, declination and range as printed
    sun = light.sun_position_m(2453827.5)
    np.testing.assert_allclose(sun, np.array([146186212.987, 28788976.312, 12481063.645]) * KM, atol=1.0)
    assert np.degrees(np.arctan2(sun[1], sun[0])) == pytest.approx(11.140898551, abs=1e-8)
    assert np.degrees(np.arcsin(sun[2] / np.linalg.norm(sun))) == pytest.approx(4.788424663, abs=1e-8)
    assert np.linalg.norm(sun) / light.ASTRONOMICAL_UNIT_M == pytest.approx(0.9994517606, abs=1e-9)


def test_the_sun_is_within_a_few_hundredths_of_a_degree_of_the_almanac():
    # Vallado, example 5-1, the same instant in the celestial frame of J2000, from the full theory: (146259922,
    # 28595947, 12397430) km. To compare, the mean-of-date vector is precessed by the series of IAU 1976.
    t = (2453827.5 - 2451545.0) / 36525.0
    zeta, theta, z = np.radians(np.array([2306.2181 * t, 2004.3109 * t, 2306.2181 * t]) / 3600.0)

    y_axis, z_axis = (0, 1, 0), (0, 0, 1)
    to_date = (
        poses.rotation_about(z_axis, z) @ poses.rotation_about(y_axis, -theta) @ poses.rotation_about(z_axis, zeta)
    )
    ours = to_date[:3, :3].T @ light.sun_position_m(2453827.5)
    theirs = np.array([146259922.0, 28595947.0, 12397430.0])
    assert np.degrees(light.angle_between_rad(ours, theirs)) < 0.01


def test_a_satellite_in_shadow():
    # Curtis, Orbital Mechanics for Engineering Students, example 12.8: 66.857 + 89.998 < 172.815 deg
    satellite = np.array([2817.899, -14110.473, -7502.672]) * KM
    sun = np.array([-11747041, 139486985, 60472278]) * KM
    assert np.degrees(light.angle_between_rad(satellite, sun)) == pytest.approx(172.815, abs=5e-4)
    assert light.sun_share(satellite, sun) == 0.0


def test_a_satellite_in_the_sun():
    # Vallado, example 11-6; the sun is printed to four digits, so the angle agrees to a few thousandths of a degree
    satellite = np.array([-2811.2769, 3486.2632, 5069.5763]) * KM
    sun = np.array([0.9765, 0.1960, 0.0850]) * light.ASTRONOMICAL_UNIT_M
    away = np.pi - light.angle_between_rad(satellite, sun)
    assert np.degrees(away) == pytest.approx(76.0407, abs=0.003)
    assert np.linalg.norm(satellite) * np.sin(away) / KM == pytest.approx(6564.6870, abs=0.1)
    assert light.sun_share(satellite, sun) == 1.0


def _orbit(epoch, inclination_deg, node_deg, argument_deg, turns_a_day):
    radius = (light.EARTH_MU_M3_S2 / (turns_a_day * 2 * np.pi / 86400.0) ** 2) ** (1 / 3)
    angles = np.radians([inclination_deg, node_deg, argument_deg])
    return light.CircularOrbit(radius, *map(float, angles), light.julian_date(epoch))


# Skyfield's documentation (earth satellites) and its test suite (test_is_sunlit): an element set of a low
# station, and whether it is in the sun at equal steps, by SGP4 and a JPL ephemeris. The element sets' argument of
# perigee and mean anomaly add up to the argument of a circular orbit.
SUNLIT = [
    ((2014, 20.93268519), (51.6498, 109.4756, 55.9686 + 274.8005, 15.49815350), datetime(2014, 1, 20), 20, "TTFFTT"),
    ((2018, 184.80969102), (51.6414, 295.8524, 262.6267 + 204.2868, 15.54005638), datetime(2018, 7, 3), 10, "TFFFTT"),
]


@pytest.mark.parametrize(("epoch", "elements", "first", "step_min", "sunlit"), SUNLIT)
def test_a_station_in_and_out_of_the_sun(epoch, elements, first, step_min, sunlit):
    year, day = epoch
    start = datetime(year, 1, 1, tzinfo=UTC) + timedelta(days=day - 1)
    orbit = _orbit(start, *elements)
    first = first.replace(tzinfo=UTC)
    times = [(first + timedelta(minutes=step_min * k) - start).total_seconds() for k in range(len(sunlit))]
    share = light.sun_share(orbit.position_m(times), orbit.sun_position_m(times))
    assert "".join("T" if s > 0.5 else "F" for s in share) == sunlit


def test_beta_over_a_year():
    # SatelliteAnalysis.jl, documentation of beta_angle: a 7130.982 km, i 98.405 deg, node 78.4021 deg, 2021-01-01.
    # It gives one value a day from day 1 to day 365; its series for the sun differs from ours by some 0.003 deg.
    orbit = light.CircularOrbit(
        7130.982 * KM, np.radians(98.405), np.radians(78.4021), 0.0, light.julian_date(datetime(2021, 1, 1, tzinfo=UTC))
    )
    first = [0.432769059, 0.434676119, 0.436561710, 0.438423808, 0.440260446, 0.442069696, 0.443849643]
    last = [0.420336582, 0.422340272, 0.424339859, 0.426333415, 0.428319024, 0.430294755, 0.432258626, 0.434208561]
    np.testing.assert_allclose(orbit.beta_rad(86400.0 * np.arange(1, 8)), first, atol=1e-4)
    np.testing.assert_allclose(orbit.beta_rad(86400.0 * np.arange(358, 366)), last, atol=1e-4)


def test_night_of_circular_orbits():
    # shared/tables/eclipse_circular.csv, with its sources
    with (TABLES / "eclipse_circular.csv").open() as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        radius = light.EARTH_RADIUS_M + float(row["height_km"]) * KM
        orbit = light.CircularOrbit(radius, 0.0, 0.0, 0.0, 2451545.0)
        share = night_share(radius, np.radians(float(row["beta_deg"])))
        if row["period_min"]:
            assert orbit.period_s / 60 == pytest.approx(float(row["period_min"]), abs=6e-5)
        if row["eclipse_fraction"]:
            assert share == pytest.approx(float(row["eclipse_fraction"]), abs=1e-6)
        if row["eclipse_min"]:
            assert share * orbit.period_s / 60 == pytest.approx(float(row["eclipse_min"]), abs=1e-3)
