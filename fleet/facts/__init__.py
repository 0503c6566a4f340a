"""What is computed of a site, a tank, a node, a board."""
