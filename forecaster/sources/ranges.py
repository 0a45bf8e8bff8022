"""What a weather value may be at all: the limits beyond which a number is a fault and not weather."""

from __future__ import annotations

from forecaster.weather import frame

# Source: WMO guidelines on quality control of automatic weather stations (Zahumensky 2004, taken into WMO-No. 8/488), plausible
# limits; read second-hand. Status: published. Two differ on purpose:
# - radiation may be a little negative: pyranometers cool at night and models round; it is set to 0 afterwards (practice);
# - rain is per hour here. The most ever measured in an hour is 305 mm (Holt, Missouri, 1947; memory).
PLAUSIBLE_RANGES: dict[str, tuple[float, float]] = {
    frame.AIR_TEMPERATURE: (-80.0, 60.0),
    frame.DEW_POINT: (-80.0, 35.0),
    frame.RELATIVE_HUMIDITY: (0.0, 100.0),
    frame.WIND_SPEED: (0.0, 75.0),
    frame.SHORTWAVE: (-10.0, 1600.0),
    frame.PRECIPITATION: (0.0, 305.0),
    frame.SOIL_TEMPERATURE: (-50.0, 50.0),
}
