"""The ledger's home on the PC, and copies of what a box keeps."""
