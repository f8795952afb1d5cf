"""What temperature does to a bridge: its resistance, its growth on the way to function, the shift of its threshold."""

from __future__ import annotations

from collections.abc import Callable

from ignition.circuit import description as d
from ignition.circuit.assumptions import Ledger
from ignition.circuit.model import BridgeTemperatures
from ignition.errors import InputError
from ignition.parts.igniter import resistance_growth, resistance_ratio, shifted_threshold
from ignition.toleranced import Toleranced, vertices
from ignition.typing import FloatArray

__all__ = ["ambient_growth", "ambient_resistance", "bridge_temperatures"]

_CONSTANT = Toleranced.exact(0.0, "1/K")


def bridge_temperatures(given: d.Igniter, key: str, ambient: Toleranced, ledger: Ledger) -> BridgeTemperatures:
    """Settle the temperatures of an igniter and what follows from them at the reference temperature.

    A function temperature that is not given is assumed over a wide range. Then no threshold is taken as shifted at
    the nominal ambient, none as raised by an ambient that is only cold, nor as lowered by one that is only hot.

    Raises InputError if the function temperature does not lie above the others, or the resistance falls to zero.

    Parameters
    ----------
    key : Dotted key of the igniter's table
    ambient : Temperature [degC]

    Examples
    --------
    >>> given = d.Igniter(bridge_resistance="1 ohm", function_temperature="320 degC")
    >>> found = bridge_temperatures(given, "igniter.match", Toleranced.exact(-55.0, "degC"), Ledger())
    >>> round(found.shift.nominal, 9)
    1.118033989
    """
    coefficient = ledger.take(
        given.temperature_coefficient, f"{key}.temperature_coefficient", "bridge_coefficient", "1/K"
    )
    resistance = ledger.take(given.bridge_resistance, f"{key}.bridge_resistance", "bridge_resistance", "ohm")
    reference = ledger.take(
        given.reference_temperature, f"{key}.reference_temperature", "reference_temperature", "degC"
    )
    function = ledger.take(given.function_temperature, f"{key}.function_temperature", "function_temperature", "degC")
    if given.function_temperature is None:
        if coefficient != _CONSTANT:
            ledger.note(f"{key}.function_temperature", "function_temperature", value="120 to 600 degC, the worse end")
        if function.low <= reference.high:
            raise InputError(
                f"reference_temperature ({reference}) lies above the lowest function temperature that is assumed "
                f"({function.low:g} degC); give function_temperature"
            )
    elif function.low <= max(ambient.high, reference.high):
        raise InputError(
            f"function_temperature ({function}) must lie above the ambient ({ambient}) "
            f"and the reference temperature ({reference})"
        )
    shift = _over(lambda *ends: shifted_threshold(1.0, *ends), ambient, reference, function)
    if given.function_temperature is None:
        shift = Toleranced(low=min(shift.low, 1.0), nominal=1.0, high=max(shift.high, 1.0))
    return BridgeTemperatures(
        reference=reference,
        function=function,
        coefficient=coefficient,
        reference_resistance=resistance,
        function_resistance=resistance.times(_over(resistance_ratio, function, coefficient, reference)),
        reference_growth=_over(
            lambda end, alpha, start: resistance_growth(end, start, alpha, start), function, coefficient, reference
        ),
        shift=shift,
    )


def ambient_resistance(bridge: BridgeTemperatures, ambient: Toleranced) -> Toleranced:
    """Cold resistance of a bridge over the ambient range [ohm].

    Raises InputError if the resistance falls to zero.

    Parameters
    ----------
    ambient : Temperature [degC]

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> bridge = load_example("tether-cutter").igniters["cutter"].temperatures
    >>> ambient_resistance(bridge, Toleranced.exact(50.0, "degC")).high
    1.8
    """
    return bridge.reference_resistance.times(_over(resistance_ratio, ambient, bridge.coefficient, bridge.reference))


def ambient_growth(bridge: BridgeTemperatures, ambient: Toleranced) -> Toleranced:
    """Relative growth of the resistance from an ambient to the function temperature [1].

    Parameters
    ----------
    ambient : Temperature [degC]

    Examples
    --------
    >>> from ignition.circuit.examples import load_example
    >>> bridge = load_example("tether-cutter").igniters["cutter"].temperatures
    >>> ambient_growth(bridge, Toleranced.exact(50.0, "degC")).high
    0.0
    """
    return _over(resistance_growth, bridge.function, ambient, bridge.coefficient, bridge.reference)


def _over(law: Callable[..., FloatArray], *values: Toleranced) -> Toleranced:
    """Range of a law that is monotone in each value: its extremes stand at the corners."""
    corners = law(*vertices(values).T)
    nominal = float(law(*(value.nominal for value in values)))
    return Toleranced(low=min(float(corners.min()), nominal), nominal=nominal, high=max(float(corners.max()), nominal))
