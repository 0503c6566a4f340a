"""The arithmetic of water: volumes, filling, spare time, what to mind. Pure."""
