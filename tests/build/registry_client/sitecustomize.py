"""Turns PlatformIO, in a process that a test starts with this folder on its PYTHONPATH, to a registry of the test's.

PlatformIO 6.2 has no setting for it: its hosts stand in its code. And it waits half a second before each question.
"""

import os
import sys

_REGISTRY = os.environ.get("TANKFLEET_TEST_REGISTRY")

if _REGISTRY and any("fetcher.py" in word or word == "platformio" for word in sys.orig_argv):
    from platformio.http import HTTPClient
    from platformio.registry import client, mirror

    def _only_ours(self):
        HTTPClient.__init__(self, [_REGISTRY])

    client.RegistryClient.__init__ = _only_ours
    mirror.__registry_mirror_hosts__ = []
    HTTPClient.send_request = HTTPClient.send_request.__wrapped__
