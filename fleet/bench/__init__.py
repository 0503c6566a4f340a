"""Virtual nodes on this machine: the real firmware in real processes, with simulated water behind the probes."""
