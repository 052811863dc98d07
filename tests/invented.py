"""The built-in system without its place among the planets, for tests that give it another one or none."""

from binarydyn.scenario import example

_PLACES = ("impact_epoch_utc", "pole_longitude_deg", "pole_latitude_deg", "node_angle_deg")


def _placeless(text: str) -> str:
    head, orbit, rest = text.partition("[heliocentric_orbit]")
    assert orbit
    text = head + "[impactor]" + rest.split("[impactor]", 1)[1]
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith(_PLACES))


PLACELESS = _placeless(example().text)
