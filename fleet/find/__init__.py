"""Finding nodes: who announces itself, who answers with a signature, and what the inventory says of it."""
