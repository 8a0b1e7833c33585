"""The box as hardware: one source of parts and pins, and what is made from it. It is never installed."""
