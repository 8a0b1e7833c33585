"""The PC side of Lampblack: the `lampblack` command, its cards, and the way to a box.

Law of this package: it plans with `timing_core` and never multiplies light itself; only
`box_client` talks to a port.
"""
