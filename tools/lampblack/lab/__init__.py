"""The laboratory: what a printer learns of paper and light, worked out on the PC. No box is needed."""
