"""The inventory: text with positions -> model -> findings."""
