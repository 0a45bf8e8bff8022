"""A cycle keeps when the leaf will be wet."""

from __future__ import annotations

from datetime import timedelta

from tests.pipeline.conftest import START, Service


def test_a_cycle_keeps_the_spells_of_five_days(service: Service) -> None:
    service.cycle()
    outlooks = service.outlooks()
    watered = {surface.id for surface in service.ground.surfaces if surface.irrigation is not None}
    assert watered
    for surface_id, outlook in outlooks.items():
        assert outlook.wet_hours is not None
        assert all(spell.starts_at_utc < START + timedelta(days=5) for spell in outlook.wet_hours)
        given = {
            spell.starts_at_utc.astimezone(service.ground.time_zone).hour for spell in outlook.wet_hours if spell.cause == "irrigation"
        }
        assert given == ({5} if surface_id in watered else set())


def test_without_any_weather_nothing_is_called_dry(service: Service) -> None:
    service.take_weather_away()
    service.cycle()
    for outlook in service.outlooks().values():
        assert outlook.wet_hours is not None
        assert [spell.cause for spell in outlook.wet_hours] == ["unknown"]
