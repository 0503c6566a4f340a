"""Figures of design: ratios measured in one run, medians of interleaved runs."""
