"""Channels of a small type for the tests of reading and writing."""

from spoolwright.crafts.typefile.model import Channel


def channel(id: str, dimension: str, unit: str, **more) -> Channel:
    given = {"name": id, "role": "other", "range": (0.0, 1e6), "plausible": (0.0, 1e6), "noise": 0.0, **more}
    return Channel(id=id, dimension=dimension, unit=unit, **given)


CHANNELS = [
    channel("ng", "speed", "rpm", name="Gas generator speed", aliases=("N1",), full_scale=40_000.0),
    channel("mgt", "temperature", "degC", name="Measured gas temperature", aliases=("T45",)),
    channel("torque", "torque", "N m", name="Torque"),
    channel("oil_pressure", "gauge pressure", "kPa", name="Oil pressure", aliases=("P oil",)),
    channel("p3", "pressure", "kPa", name="Compressor discharge pressure", aliases=("P3",)),
    channel("vibration", "velocity", "mm/s", name="Vibration (front)"),
    channel("ignition", "state", "1", name="Ignition"),
    channel("humidity", "ratio", "%", name="Relative humidity", aliases=("RH",)),
]


def kinds(recording) -> list[str]:
    """Kinds of the notes, in order."""
    return [note.kind for note in recording.notes]
