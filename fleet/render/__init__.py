"""From the model to sources: pure, the same input gives the same bytes."""
