"""Each reference method declared once: every table that repeats something of a method is made from here when needed.

`loop_meter` and `barometer` are kinds of reference without a method: they give no humidity.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TypeVar

from asfound.records.visits.columns import COLUMNS, Column

Value = TypeVar("Value")

SALT_SOURCE = "Greenspan (1977), J. Res. NBS 81A, 89–96"
CELL = "cell_"
"""Before a certified cell's name: what its humidity is called beside the quantities that a reference measures."""
_FORMULAS = "saturation vapour pressure and enhancement factor after Hardy (1998), ITS-90"


@dataclass(frozen=True, kw_only=True)
class Method:
    """How one kind of reference gives a humidity, as far as records, sheets, certificates and pages tell of it."""

    kind: str
    """what a reference's file says"""
    name: str
    """what certificates and pages call the reference"""
    columns: tuple[str, ...]
    """columns of a visit's row that belong to the method, as a sheet lists them"""
    own_columns: tuple[Column, ...] = ()
    """of these, the ones that no visit has without the method"""
    optional: tuple[str, ...] = ()
    """of these, columns that a complete row may leave out, or that another rule asks for"""
    alternatives: Mapping[str, str] = field(default_factory=dict)
    """of these, a column and the one that may stand in its place"""
    in_air_only: tuple[str, ...] = ()
    """of these, the temperature at the sensor, which is needed where sensor and reference stand in air"""
    not_read: tuple[str, ...] = ()
    """of these, columns that are told beforehand and not read from the reference"""
    media: tuple[str, ...]
    """where probe and reference may meet"""
    needed: tuple[str, ...]
    """quantities that the reference must have a record of"""
    usual_sources: tuple[str, ...]
    """keys of the reference for what is usual for the method beside its certificates"""
    in_air_sources: tuple[str, ...] = ()
    """more of these keys, for what is usual where sensor and reference stand in air"""
    read_instead: Mapping[str, str] = field(default_factory=dict)
    """of these keys, one that need not be given where the reference has a record of this quantity"""
    goes_with: Mapping[str, str] = field(default_factory=dict)
    """of these keys, one that says nothing without another key"""
    to_do: str
    """what a technician does to bring the reference to a point"""
    probe_temperature: str = "chamber_temperature"
    """of these, the column that tells how warm it is at the reference"""
    equation: str = ""
    """how the humidity follows, as a line of the Method page; blank where the page's own text says it"""
    makes_humidity: bool = False
    """whether the reference itself brings its chamber to what is set, rather than telling what is there"""
    reads_humidity: bool = False
    """whether its reading is a humidity already, so that it is corrected as a whole by its own calibration here"""
    gives_targets: bool = True
    """whether it can be told beforehand what the reference will show at a point, or what to set"""
    principle: str
    """how the method arrives at its value, as a certificate says it; {} takes the details of the rows"""
    of_cells: str = ""
    """the same of rows over a certified cell; {} takes the cells"""

    @property
    def read(self) -> tuple[str, ...]:
        """Columns that are read from the reference."""
        return tuple(column for column in self.columns if column not in self.not_read)


_ALL = (
    Method(
        kind="two_pressure",
        name="two-pressure humidity generator",
        columns=("saturation_pressure", "saturation_temperature", "chamber_pressure", "chamber_temperature"),
        media=("chamber",),
        needed=("saturation_pressure", "saturation_temperature", "chamber_pressure", "chamber_temperature"),
        usual_sources=("saturator_gradient", "chamber_gradient", "lowest_efficiency", "pressure_drop"),
        to_do="Dial",
        makes_humidity=True,
        principle="Two-pressure method: the humidity at the probe follows from pressure and temperature of the "
        f"saturator and of the chamber; {_FORMULAS}.",
    ),
    Method(
        kind="chilled_mirror",
        name="chilled-mirror hygrometer",
        columns=("mirror_temperature", "condensate", "mirror_pressure", "chamber_temperature", "chamber_pressure"),
        optional=("condensate", "mirror_pressure"),
        alternatives={"chamber_pressure": "ambient_pressure"},
        media=("chamber",),
        needed=("mirror_temperature", "chamber_temperature"),
        usual_sources=("chamber_gradient", "mirror_pressure_difference"),
        read_instead={"mirror_pressure_difference": "mirror_pressure"},
        to_do="Expect",
        principle="Chilled mirror: the humidity at the probe follows from the temperature at which {} stands on the "
        f"mirror, and from temperature and pressure at the probe; {_FORMULAS}.",
    ),
    Method(
        kind="saturated_salt",
        name="saturated salt solutions",
        columns=("salt", "chamber_temperature"),
        not_read=("salt",),
        media=("salt cell",),
        needed=("chamber_temperature",),
        usual_sources=("chamber_gradient", "salt_condition"),
        to_do="Take",
        principle=f"Saturated solutions of {{}}: the humidity over a solution at its temperature, after {SALT_SOURCE}.",
        of_cells="Certified {}: the humidity over the solution after its certificate, at its temperature.",
    ),
    Method(
        kind="transfer_probe",
        name="transfer probe",
        columns=("reference_humidity", "reference_temperature", "air_temperature"),
        in_air_only=("air_temperature",),
        probe_temperature="reference_temperature",
        reads_humidity=True,
        media=("chamber", "in air"),
        needed=("reference_humidity", "reference_temperature"),
        usual_sources=("hysteresis", "temperature_coefficient", "chamber_gradient"),
        in_air_sources=("instability", "vapour_gradient", "response_lag"),
        goes_with={"temperature_coefficient": "calibration_temperature"},
        to_do="Wait for",
        principle="Comparison with a transfer probe, its reading corrected after its certificate and brought to the "
        f"temperature at the sensor at constant vapour pressure; {_FORMULAS}.",
    ),
)
METHODS: dict[str, Method] = {}
"""Kind of reference → its method."""


def declare(method: Method) -> None:
    """Make a method known, with the columns of its own, before any record is read.

    Its model goes into `asfound.measurement.methods.registry`.
    """
    METHODS[method.kind] = method
    COLUMNS.update({column.name: column for column in method.own_columns})


for _method in _ALL:
    declare(_method)


class _Made(Mapping[str, Value]):
    """A table made from the methods that are declared when it is read."""

    def __init__(self, make: Callable[[], dict[str, Value]]) -> None:
        self._make = make

    def __getitem__(self, key: str) -> Value:
        return self._make()[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._make())

    def __len__(self) -> int:
        return len(self._make())


SENSOR_SOURCES = (
    "humidity.hysteresis",
    "self_heating",
    "time_constant",
    "humidity.far_end_dead_band",
    "temperature.far_end_dead_band",
)
"""Keys of a family, or of its sensors, for what is usual for any sensor under test; some within those of a channel."""
WITHOUT_METHOD: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "loop_meter": ("loop meter", ()),
    "barometer": ("barometer", ("ambient_pressure",)),
}
"""Kind of reference that gives no humidity → what it is called, and the quantities it must have a record of."""
KIND_NAMES: Mapping[str, str] = _Made(
    lambda: (
        {kind: method.name for kind, method in METHODS.items()}
        | {kind: name for kind, (name, _) in WITHOUT_METHOD.items()}
    )
)
"""Kind of reference → what certificates and pages call it."""
NEEDED: Mapping[str, tuple[str, ...]] = _Made(
    lambda: (
        {kind: method.needed for kind, method in METHODS.items()}
        | {kind: needed for kind, (_, needed) in WITHOUT_METHOD.items()}
    )
)
"""Kind of reference → the quantities it must have a record of."""
_METERED = {"ambient_pressure": "pressure", "current": "current", "voltage": "voltage"}
QUANTITIES: Mapping[str, str] = _Made(
    lambda: {name: COLUMNS[name].quantities[0] for name in reference_readings()} | _METERED
)
"""Names of what a reference measures (its CSV columns, and a loop meter's two) → kind of quantity."""


def kind_of(quantity: str) -> str:
    """Kind of quantity of what a certificate is of: of a certified cell (`cell_NAME`) it is humidity."""
    return QUANTITIES["reference_humidity" if quantity.startswith(CELL) else quantity]


def reference_readings() -> tuple[str, ...]:
    """Columns of numbers read from a reference: several sensors at one time and reference share them."""
    every = dict.fromkeys(name for method in METHODS.values() for name in method.columns)
    return tuple(name for name in every if COLUMNS[name].is_number)
