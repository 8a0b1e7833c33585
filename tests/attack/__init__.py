"""A campaign of faults: attackers that anyone can replay, by seed."""
