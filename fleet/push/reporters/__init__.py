"""Who is told what happens in a push: a terminal, plain lines, JSON lines. They decide nothing."""
