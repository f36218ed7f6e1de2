"""One file a kind of step. Each defines ``KIND``; plan/kind.py finds them."""
