"""The command line: one file per group of commands; they parse, call and print."""
