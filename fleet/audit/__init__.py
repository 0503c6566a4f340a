"""The audit: what runs where, and what differs from the inventory."""
