"""tankfleet: firmware for fleets of water-tank nodes, from one inventory."""
