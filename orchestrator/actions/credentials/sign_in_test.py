"""Trying a credential on the devices that use it, by asking each who it is."""

import asyncio

from orchestrator.actions.desk import Desk
from orchestrator.errors import DeviceError, words


def devices_of(desk: Desk, credential: str) -> tuple[str, ...]:
    """The devices of the plan that use a credential and that the tool speaks to."""
    return tuple(
        name
        for name, device in desk.plan.devices.items()
        if device.credentials == credential and device.speaks
    )


def where(desk: Desk, device: str) -> str:
    """The address at which ``device`` answers: where a playbook says, or else the plan's."""
    asked = desk.asked.get(device)
    return (asked.reach_at if asked is not None else None) or desk.plan.devices[device].address


async def test_sign_in(desk: Desk, credential: str) -> list[tuple[str, str, bool]]:
    """For each device: its name, what came of it in words, and whether it signed in."""

    async def one(name: str) -> tuple[str, str, bool]:
        at = where(desk, name)
        adapter = desk.open_adapter(name, at)
        try:
            identity = await adapter.identify()
        except DeviceError as error:
            return name, words(error).what, False
        finally:
            await adapter.close()
        return name, f"signed in at {at} ({identity})", True

    return list(await asyncio.gather(*(one(name) for name in devices_of(desk, credential))))
