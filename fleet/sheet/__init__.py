"""Sheets for paper: what a person takes along to a tank and its node."""
