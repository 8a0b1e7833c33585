"""A disk in memory that runs on CPython and MicroPython alike (see `timing_core.records.store`)."""


class Disk:
    def __init__(self):
        self.files = {}

    def names(self):
        return list(self.files)

    def read(self, name):
        return self.files.get(name)

    def write(self, name, data):
        self.files[name] = data

    def remove(self, name):
        self.files.pop(name, None)
