"""When a site may be updated."""
