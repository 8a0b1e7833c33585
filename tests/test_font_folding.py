"""What the typeface folds away, checked against the Unicode Character Database (`unicodedata`)."""

import unicodedata

from timing_core.panel.letters import in_letters

# Letters that Unicode does not decompose into a base letter and marks; the base is the Latin letter
# named in the character's Unicode name, or the first of a ligature.
NO_DECOMPOSITION = {
    "Æ": "A", "æ": "a", "Ð": "D", "ð": "d", "Ø": "O", "ø": "o", "Þ": "T", "þ": "t", "ß": "s",
    "Đ": "D", "đ": "d", "Ħ": "H", "ħ": "h", "\u0131": "i", "ĸ": "k", "Ł": "L", "ł": "l", "Ŋ": "N",
    "ŋ": "n", "Œ": "O", "œ": "o", "Ŧ": "T", "ŧ": "t",
}  # fmt: skip
NO_LETTERS = {"\u00d7", "\u00f7"}  # the times sign has a glyph, the division sign has none


def test_latin_letters_keep_the_base_letter_that_unicode_gives_them():
    for point in range(0xC0, 0x180):
        letter = chr(point)
        if letter in NO_LETTERS:
            continue
        decomposed = unicodedata.normalize("NFKD", letter)
        # U+0149 is an apostrophe and an n.
        base = NO_DECOMPOSITION.get(letter) or decomposed.replace("\u02bc", "")[0]
        assert in_letters(letter) == base.encode("ascii"), letter
    assert {c for c in NO_DECOMPOSITION if unicodedata.normalize("NFKD", c) != c} == set()


def test_fractions_are_spelt_as_unicode_decomposes_them():
    spelt = 0
    for point in [*range(0xBC, 0xBF), *range(0x2150, 0x215F)]:
        sign = chr(point)
        wanted = unicodedata.normalize("NFKD", sign).replace("\u2044", "/").encode("ascii")
        if in_letters(sign) == wanted:
            spelt += 1
        else:
            # One half has its own glyph; sevenths, ninths and tenths are not divisions of a stop in use.
            assert sign in "½⅐⅑⅒", sign
            assert len(in_letters(sign)) == 1
    assert spelt == 14


def test_a_lone_surrogate_as_json_may_bring_it_is_drawn_as_unknown():
    assert in_letters("a\ud800b") == b"a?b"
