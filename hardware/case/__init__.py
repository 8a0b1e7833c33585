"""The case: its sizes, its solids, and what is made of them."""
