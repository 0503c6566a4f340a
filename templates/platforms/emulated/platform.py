"""PlatformIO platform: the firmware's core in the chips' own instruction sets, for an emulator."""

from platformio.platform.base import PlatformBase


class TankemulatedPlatform(PlatformBase):
    """Needs no package: compilers and C library are the system's. Each board is one instruction set."""
