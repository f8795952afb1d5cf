"""A complete circuit: every value present in SI units, each default recorded as an assumption."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from ignition.circuit.description import Checklist, Description, OwnLimit
from ignition.toleranced import Toleranced, in_parallel, in_series

__all__ = [
    "AdcModel",
    "Assumption",
    "BatteryModel",
    "BridgeTemperatures",
    "ChannelModel",
    "Circuit",
    "ControllerModel",
    "FeedModel",
    "HighSideModel",
    "IgniterModel",
    "MosfetModel",
    "OPEN_CONTACT",
    "OnRow",
    "PinModel",
    "SecondModel",
    "StatementModel",
    "TimeConstants",
    "WiringModel",
]

OPEN_CONTACT = 1e9
"""Least resistance of an open contact [ohm]: what data sheets of small relays promise (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """A value that the file did not give.

    Attributes
    ----------
    direction : Which question it is conservative for: can it fire by accident, or will it fire when told
    """

    key: str
    value: str
    direction: Literal["safe", "fire"]
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatteryModel:
    """Battery at its terminals: open-circuit voltage [V] behind a resistance [ohm]; capacity [C].

    Attributes
    ----------
    slow_resistance : Highest resistance by which the voltage sinks slowly, given or assumed [ohm]
    """

    voltage: Toleranced
    resistance: Toleranced
    capacity: Toleranced | None
    polarisation_resistance: Toleranced | None
    slow_resistance: float
    polarisation_time: Toleranced | None
    trip_current: Toleranced | None
    trip_delay: Toleranced | None
    protection_known: bool
    bank_capacitance: Toleranced | None
    bank_resistance: Toleranced | None
    recharge_resistance: Toleranced | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedModel:
    """One part in series between battery and bus; resistance [ohm], edge [s], currents [A], integrals [A^2 s].

    A wire has inductance [H] and capacitance [F], every other part none.

    Attributes
    ----------
    area : Cross-section [m^2] of a wire of known size; low is its thin end
    closures : Most times that an arm switch closes in one throw, bouncing [1]
    carried_current : What a fuse carries for good at the hottest ambient [A]; None where that is not given
    least_i2t : Least integral that opens a fuse at the hottest ambient [A^2 s]; None where that is not given
    """

    name: str
    kind: str
    resistance: Toleranced
    area: Toleranced | None
    inductance: Toleranced
    capacitance: Toleranced
    edge: Toleranced | None
    closures: int
    rating: Toleranced | None
    melting_i2t: Toleranced | None
    hold_current: Toleranced | None
    trip_i2t: Toleranced | None
    carried_current: float | None
    least_i2t: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WiringModel:
    """Round trip of a pair of conductors, joints included [ohm], its inductance [H] and capacitance [F].

    Attributes
    ----------
    area : Cross-section [m^2], where known; low is its thin end
    """

    resistance: Toleranced
    round_trip: Toleranced
    joints: Toleranced
    area: Toleranced | None
    distance: Toleranced | None
    inductance: Toleranced
    capacitance: Toleranced
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PinModel:
    """Gate pin: output resistance [ohm], leakage [A], clamp [ohm, V, A].

    In reset the pin floats where `reset_pull_up` is None, is pulled up through it [ohm], or may do anything at all; it
    is pulled down through `reset_pull_down` [ohm] where there is one.
    """

    output_resistance: Toleranced
    leakage: Toleranced
    reset_pull_up: Toleranced | Literal["driven high"] | None
    reset_pull_down: Toleranced | None
    clamp_resistance: Toleranced
    clamp_drop: Toleranced
    clamp_current_limit: Toleranced


@dataclass(frozen=True, slots=True, kw_only=True)
class AdcModel:
    """Converter: reference [V] or None when ratiometric, leakage [A], sampling [F, s].

    Attributes
    ----------
    total_error : Total unadjusted error, either way [LSB]
    noise : Noise, root mean square [LSB]
    """

    bits: int
    reference: Toleranced | None
    total_error: float
    leakage: Toleranced
    sample_capacitance: Toleranced | None
    acquisition_time: Toleranced | None
    noise: float
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ControllerModel:
    """Controller: supply [V], dropout [V], brown-out [V] or None, current [A], hold-up capacitance [F] or None."""

    powered_before_arm_switch: bool
    supply: Toleranced
    dropout: Toleranced
    brown_out: Toleranced | None
    current: Toleranced
    hold_up_capacitance: Toleranced | None
    pin: PinModel
    adc: AdcModel


@dataclass(frozen=True, slots=True, kw_only=True)
class StatementModel:
    """A no-fire or all-fire statement: current [A], duration [s].

    Attributes
    ----------
    reliability, confidence : Share of units for which it holds, and the confidence of that [1]; None where it does not
        say
    source, date : Whose statement, of which document or date; empty where it does not say
    """

    current: Toleranced
    duration: Toleranced
    reliability: float | None
    confidence: float | None
    source: str
    date: str

    def meets(self, reliability: float, confidence: float) -> bool:
        """Whether the statement holds for a share of units at a confidence; one that does not say holds for none.

        Parameters
        ----------
        reliability, confidence : What is asked [1]
        """
        if self.reliability is None or self.confidence is None:
            return False
        return self.reliability >= reliability and self.confidence >= confidence


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeConstants:
    """Thermal time constants.

    Attributes
    ----------
    fast, nominal, slow : Of the fastest case (with the lowest threshold), nominal, and of the slowest case (with the
        highest) [s]; where an adiabatic energy gives them, a unit of another threshold may lie outside
    """

    fast: float | None
    nominal: float | None
    slow: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeTemperatures:
    """How a bridge follows temperature.

    Attributes
    ----------
    reference, function : Temperatures of the statements and the bridge resistance, and of function [degC]
    coefficient : Of the resistance, relative to that at the reference temperature [1/K]
    reference_resistance, function_resistance : Resistance at these two temperatures [ohm]
    reference_growth : Relative growth of the resistance from the reference to the function temperature [1]
    shift : Threshold over that at the reference temperature [1]: low at the hottest ambient, high at the coldest
    """

    reference: Toleranced
    function: Toleranced
    coefficient: Toleranced
    reference_resistance: Toleranced
    function_resistance: Toleranced
    reference_growth: Toleranced
    shift: Toleranced


@dataclass(frozen=True, slots=True, kw_only=True)
class IgniterModel:
    """Bridge: cold resistance [ohm] and steady thresholds [A] over the ambient range, time constants, spent state.

    Attributes
    ----------
    growth : Relative growth of the resistance from the ambient to the function temperature [1]
    no_fire_current, all_fire_current : Lowest no-fire current at the hottest ambient, highest all-fire current at the
        coldest, each for its stated duration [A]; None where the statement is missing
    threshold_low, threshold_nominal, threshold_high : No-fire current taken to infinite duration at the hottest
        ambient, nominal, and all-fire current taken to infinite duration at the coldest [A]; None where the statement
        is missing, zero where the hottest ambient may function it
    threshold_spread : Standard deviation of the threshold's natural logarithm from unit to unit [1]
    energy : Adiabatic energy at the reference temperature [J], where the time constants follow from it
    spent_resistance : After function [ohm]; None where the bridge opens
    """

    name: str
    resistance: Toleranced
    growth: Toleranced
    temperatures: BridgeTemperatures
    no_fire: StatementModel | None
    all_fire: StatementModel | None
    no_fire_current: float | None
    all_fire_current: float | None
    threshold_low: float | None
    threshold_nominal: float | None
    threshold_high: float | None
    threshold_spread: float | None
    time_constant: TimeConstants
    energy: Toleranced | None
    spent: Literal["open", "short", "resistance"]
    spent_resistance: Toleranced | None

    @property
    def heated(self) -> Toleranced:
        """Resistance anywhere between the ambient and the function temperature [ohm]."""
        return Toleranced.hull(self.resistance, self.temperatures.function_resistance)


@dataclass(frozen=True, slots=True, kw_only=True)
class OnRow:
    """Data sheet row: on-resistance [ohm] at 25 degC.

    Attributes
    ----------
    gate : Gate voltage [V]
    """

    gate: float
    resistance: Toleranced


@dataclass(frozen=True, slots=True, kw_only=True)
class MosfetModel:
    """Low-side switch: voltages [V], capacitances [F], charge [C], leakages [A].

    Attributes
    ----------
    threshold_current : Drain current at which the threshold is stated [A]
    subthreshold_slope : Gate voltage for a tenfold drain current below the threshold, at 25 degC [V]
    charge_voltage : Where no gate-drain charge is given: its plausible ratio to Crss [V]
    gate_rating : Highest gate voltage that the part bears [V]
    hot_factor : On-resistance at `max_junction` over that at 25 degC [1]
    max_junction : Highest junction temperature [degC]
    thermal : Foster stages: resistance [K/W] and time constant [s]
    """

    name: str
    threshold: Toleranced
    threshold_drift: Toleranced
    threshold_current: Toleranced
    subthreshold_slope: Toleranced
    rows: tuple[OnRow, ...]
    hot_factor: float
    leakage_cool: Toleranced
    leakage_hot: Toleranced
    gate_leakage: Toleranced
    gate_rating: Toleranced
    max_junction: float
    input_capacitance: Toleranced | None
    output_capacitance: Toleranced
    reverse_transfer_capacitance: Toleranced | None
    gate_drain_charge: Toleranced | None
    charge_voltage: Toleranced
    breakdown: Toleranced | None
    avalanche_energy: Toleranced | None
    thermal: tuple[tuple[Toleranced, Toleranced], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondModel:
    """Second measurements: divider at the bus [ohm, F], pull-up at the drain [ohm], test pulse [s]; else None.

    Attributes
    ----------
    pull_ups : Resistors from a controller pin to the drain, in series [ohm]
    """

    bus_upper: Toleranced | None
    bus_lower: Toleranced | None
    bus_filter: Toleranced | None
    pull_ups: tuple[Toleranced, ...]
    test_pulse: Toleranced | None
    before_arming: bool

    @property
    def pull_up(self) -> Toleranced | None:
        """All resistors of the pull-up together [ohm]; None where there is none."""
        return in_series(self.pull_ups) if self.pull_ups else None


@dataclass(frozen=True, slots=True, kw_only=True)
class HighSideModel:
    """Relay contact between bus and line: closed [ohm], and the resistor around it [ohm], None where there is none."""

    resistance: Toleranced
    around: Toleranced | None

    @property
    def opened(self) -> Toleranced:
        """From bus to line while the contact is open [ohm]."""
        return self.around or Toleranced.exact(OPEN_CONTACT, "ohm")

    @property
    def closed(self) -> Toleranced:
        """From bus to line while the contact is closed [ohm]."""
        return in_parallel((self.resistance, self.opened))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelModel:
    """One firing channel: igniter types by string, wiring, gate [ohm], divider [ohm, F], pulse and start [s].

    Attributes
    ----------
    high_side : Second switch, closed only to fire
    return_contact : Pole of the arm switch between lead and drain [ohm]; None where there is none
    shunt : Contact across the line at the box, closed while the arm switch is open [ohm]; None where there is none
    pull_downs : Pull-downs at the gate, in parallel [ohm]; none where nothing holds it
    uppers : Upper resistors of the sense divider, in series [ohm]
    divider_drift : Relative change of a divider resistor over the ambient range, either sign [1]; the bounds of
        `uppers` and `lower` hold it already
    """

    name: str
    strings: tuple[tuple[str, ...], ...]
    mosfet: str
    pulse: Toleranced
    start: Toleranced
    lead: WiringModel
    branch: WiringModel | None
    high_side: HighSideModel | None
    return_contact: Toleranced | None
    shunt: Toleranced | None
    gate_series: Toleranced
    pull_downs: tuple[Toleranced, ...]
    gate_capacitor: Toleranced | None
    uppers: tuple[Toleranced, ...]
    lower: Toleranced
    filter: Toleranced | None
    pin_resistor: Toleranced
    divider_drift: float = 0.0
    second: SecondModel | None = None

    @property
    def upper(self) -> Toleranced:
        """All upper resistors of the sense divider together [ohm]."""
        return in_series(self.uppers)

    @property
    def contacts_fired(self) -> Toleranced:
        """Contacts of the line while it is fired [ohm]: all of them closed."""
        return self._contacts(None if self.high_side is None else self.high_side.closed)

    @property
    def contacts_tested(self) -> Toleranced:
        """Contacts of the line while it is tested [ohm]: its high-side switch is open."""
        return self._contacts(None if self.high_side is None else self.high_side.opened)

    def _contacts(self, high_side: Toleranced | None) -> Toleranced:
        nothing = Toleranced.exact(0.0, "ohm")
        return (high_side or nothing) + (self.return_contact or nothing)

    @property
    def into_tap(self) -> Toleranced:
        """Everything between bus and tap of the sense divider but lead and igniters while it is tested [ohm]."""
        return self.upper + self.contacts_tested

    @property
    def pull_down(self) -> Toleranced | None:
        """All pull-downs of the gate together [ohm]; None where there is none."""
        return in_parallel(self.pull_downs) if self.pull_downs else None

    @property
    def loop_inductance(self) -> Toleranced:
        """Of the lead and of one branch [H]."""
        return self.lead.inductance if self.branch is None else self.lead.inductance + self.branch.inductance

    @property
    def bus_divider(self) -> tuple[Toleranced, Toleranced] | None:
        """Upper and lower resistor of the divider at the bus [ohm], where there is one."""
        if self.second is None or self.second.bus_upper is None or self.second.bus_lower is None:
            return None
        return self.second.bus_upper, self.second.bus_lower

    @property
    def pull_up(self) -> Toleranced | None:
        """Resistor from a controller pin to the drain [ohm], where there is one."""
        return None if self.second is None else self.second.pull_up


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """A circuit file made complete.

    Attributes
    ----------
    title, name, digest : Title, file name, and SHA-256 of the file's bytes
    ambient : Temperature [degC]
    required_reliability, required_confidence : What the limits ask of a no-fire or all-fire statement [1]
    assumptions : Every default that was taken
    file : Path and text of the file, so that a mistake that an analysis finds has its line; empty where there is none
    """

    title: str
    name: str
    digest: str
    ambient: Toleranced
    battery: BatteryModel
    feed: tuple[FeedModel, ...]
    loads: tuple[tuple[str, Toleranced], ...]
    controller: ControllerModel
    igniters: Mapping[str, IgniterModel]
    mosfets: Mapping[str, MosfetModel]
    channels: tuple[ChannelModel, ...]
    presets: tuple[str, ...] | None
    own_limits: tuple[OwnLimit, ...]
    required_reliability: float
    required_confidence: float
    checklist: Checklist
    given: Description
    assumptions: tuple[Assumption, ...]
    file: tuple[str, str] = field(default=("", ""), compare=False, repr=False)

    def with_values(self, values: Mapping[str, Any]) -> Circuit:
        """Return this circuit as its file would make it with some values changed.

        Raises InputError for a key that does not exist, CircuitFileError with all mistakes that the changes make.

        Parameters
        ----------
        values : New value of each key, as the circuit file has it; None for one that it shall not give. More at
            `ignition.circuit.values.with_values`

        Examples
        --------
        >>> from ignition.circuit.examples import load_example
        >>> load_example("tether-cutter").with_values({"channel.cutter.pulse": "3 s"}).channels[0].pulse.high
        3.0
        """
        # the file's reader makes this class: it cannot be imported by name here
        made: Circuit = importlib.import_module("ignition.circuit.values").with_values(self, values)
        return made

    @property
    def arm_switch(self) -> FeedModel:
        """The feed part that arms the circuit."""
        return next(part for part in self.feed if part.kind == "arm switch")

    def channel(self, name: str) -> ChannelModel:
        """Return the channel of that name."""
        return next(channel for channel in self.channels if channel.name == name)
