"""Building: classes, PlatformIO, stamping, tickets, the shelf."""
