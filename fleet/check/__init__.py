"""Rules over the inventory, and their findings."""
