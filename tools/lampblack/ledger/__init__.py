"""The ledger's home on the PC, and copies of all that a box keeps."""
