"""The laboratory on a page: paper, carry, record and ledger, with the Python of the commands."""
