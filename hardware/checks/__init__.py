"""Proofs of the hardware, each a module with a `main` that prints what it proves."""
