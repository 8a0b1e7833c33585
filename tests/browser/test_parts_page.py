"""The parts page in a browser: all rows are there, and the row under the pointer lights its parts up."""

from playwright.sync_api import Browser

from hardware.circuit import read_circuit
from hardware.parts_page import PAGE, listed


def test_a_row_under_the_pointer_lights_its_parts_up(chromium: Browser):
    page = chromium.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    page.goto(PAGE.as_uri())
    rows = page.locator("#bomtable tbody tr")
    rows.first.wait_for()
    shown = [text.split(", ") for text in page.locator("#bomtable tbody td:nth-child(4)").all_inner_texts()]
    assert sorted(ref for row in shown for ref in row) == sorted(listed(read_circuit()))
    # In the two pictures of the board: the colour of what is lit up, before and while a row is pointed at.
    red = """() => [...document.querySelectorAll('canvas')].reduce((sum, canvas) => {
        const dots = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
        for (let at = 0; at < dots.length; at += 4)
            sum += dots[at] == 208 && dots[at + 1] == 64 && dots[at + 2] == 64;
        return sum;
    }, 0)"""
    page.mouse.move(5, 5)
    before = page.evaluate(red)
    rows.first.hover()
    page.wait_for_function(f"({red})() > {before}")
    assert faults == []
    page.close()
