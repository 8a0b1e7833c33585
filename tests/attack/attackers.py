"""Every attacker, by name."""

from tests.attack import bytecodes, client, core, cuts, files, flash, page, soak, wire
from tests.attack.campaign import Attacker

ATTACKERS = {
    own.name: own
    for own in (
        Attacker("core", "all inputs, a lamp that lies, a flash that fails, cuts and second cuts", core.play),
        Attacker("cuts", "a print that is cut off again and again, against the paper", cuts.play),
        Attacker("flash", "the real littlefs, cut at every program and erase", flash.play, 15),
        Attacker(
            "bytecodes",
            "keys between any two bytecodes of what a board draws, answers and ticks",
            bytecodes.play,
            6,
        ),
        Attacker("client", "a port with noise, cuts, liars and silence at its other end", client.play),
        Attacker("files", "files of people, spoiled by accident and by intent", files.play, 5),
        Attacker("page", "strangers at the pages, and windows that have gone mad", page.play, 36),
        Attacker("soak", "half a day in a busy darkroom, with faults", soak.play, 120),
        Attacker("wire", "noise, halves, splices and valid lines of any values, lit and dark", wire.play),
    )
}
