"""What there is: sites, tanks, pumps, nodes, policy; units and values."""
