"""PlatformIO platform: a node's firmware as a program of this machine."""

from platformio.platform.base import PlatformBase


class TankhostPlatform(PlatformBase):
    """Needs no package: compiler and BearSSL are the system's."""

    def is_embedded(self):
        """A program, not an image for a chip."""
        return False
