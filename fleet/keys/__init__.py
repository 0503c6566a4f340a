"""Keys: the key folder, deriving node keys, and what of them is public."""
