"""Kinds of boards: one data file each, and what their pins may do."""
