"""A site's network changes: the nodes join the new one, or go back."""
