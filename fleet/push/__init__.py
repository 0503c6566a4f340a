"""Staged updates: plan, engine, gate, journal, runner, reporters."""
