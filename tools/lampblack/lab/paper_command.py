"""The command `lampblack lab paper`: a paper record from test strips, printed.

What must live here: the words of this command and what it prints. What needs the extra `lab` is imported when
it runs.
"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from lampblack.errors import CommandError
from lampblack.extra import extra
from lampblack.files import write_file
from lampblack.lab.grades import half_grades
from lampblack.lab.options import TABLE_MS, AsJson, note, option, print_json, say, say_grades
from lampblack.lab.readings import (
    DENSITY_MAX,
    filter_of,
    lights_of,
    number_of,
    shared,
    strip_of_text,
    strips_of_csv,
)
from lampblack.lab.records import check_called
from lampblack.lab.strips import Strip
from lampblack.text import tables
from lampblack.text.units import parse_seconds, parse_step
from lampblack.wire.box_client import BoxClient
from lampblack.wire.finding import the_box
from timing_core.light.paper_record import PaperRecord

PICTURES = (".svg", ".png")
PATCHES = 11


def paper(
    name: Annotated[str, typer.Argument(help="The record's name in the box: a-z, 0-9 and -.")],
    csv: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Readings: a row each, under filter,light,density and perhaps tablet."
        ),
    ] = None,
    strip: Annotated[
        list[str] | None,
        typer.Option(metavar="FILTER:D...", help='Densities of a strip, like "2: 0.06 0.08 0.15 ...".'),
    ] = None,
    eye: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FILTER:N...",
            help="By eye: the patches with first tone, last before black, and like a grey of 0.65.",
        ),
    ] = None,
    scan: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="A scan of strips beside a tablet: 16 bit grey, TIFF or PNG."),
    ] = None,
    row: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FILTER|tablet",
            help="What lies on --scan, from left to right or from above; none: no filter.",
        ),
    ] = None,
    tablet: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The densities of the tablet on --scan, one a line.")
    ] = None,
    patches: Annotated[
        int | None,
        typer.Option(
            min=4,
            max=40,
            metavar="N",
            help="Of each strip on --scan, between its white end and its black one.",
            show_default=str(PATCHES),
        ),
    ] = None,
    places: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Where the patches of --scan are: its corrected .patches.csv."),
    ] = None,
    first: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TIME",
            help="The first patch's light, but with --csv: for all strips, or for each of them.",
        ),
    ] = None,
    step: Annotated[
        list[str] | None,
        typer.Option(
            metavar="STOPS",
            help="What each patch got more: for all strips, or for each of them.",
            show_default="1/2",
        ),
    ] = None,
    base: Annotated[
        list[str] | None, typer.Option(metavar="D", help="Unexposed paper, developed with the strips.")
    ] = None,
    black: Annotated[
        list[str] | None, typer.Option(metavar="D", help="A piece with 8 times the last patch's light.")
    ] = None,
    edition: Annotated[str, typer.Option(metavar="TEXT", help="Which batch and developer, and when.")] = "",
    reference: Annotated[
        str | None,
        typer.Option(metavar="FILTER", help="The filter from which stops are counted; 2 if left out."),
    ] = None,
    pair: Annotated[
        tuple[str, str] | None,
        typer.Option(
            metavar="SOFT HARD", help="The filters of split grade; the softest and the hardest if left out."
        ),
    ] = None,
    lux: Annotated[
        str | None,
        typer.Option(metavar="N", help="The light on the easel, without a filter: gives ISO speed P."),
    ] = None,
    sigma: Annotated[
        str | None, typer.Option(metavar="D", help="How far a reading may be off.", show_default="0.01")
    ] = None,
    seed: Annotated[
        int | None,
        typer.Option(min=0, help="Of the resampling that finds what figures may be off.", show_default="0"),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write the record; - is stdout.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the curves: a name that ends in .svg or .png.")
    ] = None,
    push: Annotated[bool, typer.Option("--push", help="Put the record into the box.")] = False,
    port: Annotated[
        str | None,
        typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only box if left out."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over files that are there.")] = False,
    as_json: AsJson = False,
) -> None:
    """Make a paper record from test strips: readings of them, or what an eye sees."""
    with extra():
        from lampblack.lab import paper as papers

    check_called(name, edition)
    if out not in (None, Path("-")) and out.suffix != ".toml":
        raise CommandError(
            f"{out} is not written: a paper record is a TOML file. Give a name that ends in .toml."
        )
    if picture is not None and picture.suffix.lower() not in PICTURES:
        raise CommandError(f"{picture} is not drawn: curves are SVG or PNG. Give a name in .svg or .png.")
    if as_json and out == Path("-"):
        said = "stdout is for one of them. Give -o a file, or leave it out."
        raise typer.BadParameter(said, param_hint="--json")
    for file in (out, picture):
        if file and file.is_file() and not force:
            raise CommandError(f"{file} is there already. Give another name, or --force to write over it.")
    if sum(map(bool, (csv, strip, scan, eye))) != 1:
        said = "readings come in one way. Give one of --csv, --strip, --scan and --eye."
        raise typer.BadParameter(said, param_hint="--csv")
    _only(
        scan is not None,
        "--scan",
        {"--row": row, "--tablet": tablet, "--patches": patches, "--places": places},
    )
    _only(csv is None, "--strip, --scan and --eye", {"--first": first, "--step": step})
    _only(
        not eye,
        "--csv, --strip and --scan",
        {"--base": base, "--black": black, "--pair": pair, "--sigma": sigma, "--seed": seed},
    )
    _only(not eye, "readings: an eye gives no curve", {"--picture": picture})
    # Where a result is for a program, nothing else goes to stdout.
    tell = note if as_json or out == Path("-") else say
    if reference is not None:
        reference = filter_of(reference, "--reference")
    lux_there = None if lux is None else number_of(lux, "--lux", "light in lux", 0.001, 10000)
    if eye:
        wants_record = bool(out or push or reference or lux)
        made = _paper_by_eye(name, edition, eye, first, step, reference, lux_there, wants_record, as_json)
        if made is None:
            return
        strips: list[Strip] = []
    else:
        reader_sigma = papers.READER_SIGMA
        if scan is not None:
            names = _rows(row)
            lights_s = [
                lights_of(*times, PATCHES if patches is None else patches)
                for times in _times(first, step, len(names) - 1)
            ]
            given = base is not None, black is not None
            strips, reader_sigma = _scanned(scan, names, tablet, places, lights_s, given, force, tell)
        elif csv is not None:
            strips = strips_of_csv(csv)
        else:
            strips = _typed(strip or [], first, step)
        strips = [
            own._replace(
                base=[*own.base, *_densities("--base", base)],
                black=[*own.black, *((0.0, density) for density in _densities("--black", black))],
            )
            for own in strips
        ]
        made = papers.record_of(
            strips,
            name,
            edition,
            reference=reference,
            pair=None if pair is None else [filter_of(own, "--pair") for own in pair],
            lux=lux_there,
            sigma=reader_sigma if sigma is None else number_of(sigma, "--sigma", "density", 0.001, 0.2),
            seed=seed or 0,
        )
    if as_json:
        print_json(paper_plain(made))
    elif out != Path("-"):
        _say_paper(made)
    if picture is not None:
        with extra():
            from lampblack.lab.pictures import curves_picture
        write_file(picture, curves_picture(made, strips, picture.suffix.lower()), force)
    if out == Path("-"):
        sys.stdout.write(papers.text_of(made))
    elif out is not None:
        write_file(out, papers.text_of(made).encode(), force)
        if not as_json:
            say(f"The record is written to {out}.")
    if push:
        with BoxClient(the_box(port)) as box:
            box.push(made.record, None, "paper")
        if not as_json:
            tell(f"{made.record['name']} is in the box.")


def _only(fits: bool, what: str, given: dict[str, Any]) -> None:
    """Refuse what would be ignored: options that are for readings that come in another way."""
    for name, value in given.items():
        if not fits and value is not None:
            raise typer.BadParameter(f"it is for {what}. Leave it out.", param_hint=name)


def _rows(row: list[str] | None) -> list[str]:
    with extra():
        from lampblack.lab.scan import TABLET

    names = [filter_of(own, "--row") for own in row or []]
    if names.count(TABLET) != 1 or len(set(names)) < len(names) or len(names) < 2:
        said = "each thing on the scan has one name. Give one --row tablet, and a --row for each strip."
        raise typer.BadParameter(said, param_hint="--row")
    return names


def paper_plain(made: Any) -> dict[str, Any]:
    """A record with what its figures may be off by, 1 sigma, as plain data: offsets in 1/120 stop."""
    return {
        "record": made.record,
        "reference": made.reference,
        "filters": [
            {key: value for key, value in own._asdict().items() if key != "curve"} for own in made.filters
        ],
        "pair_worst": made.pair_worst,
        "warnings": made.warnings,
    }


def _scanned(
    scan: Path,
    names: list[str],
    tablet: Path | None,
    places: Path | None,
    lights_s: list[list[float]],
    given: tuple[bool, bool],
    force: bool,
    tell: Callable[[str], None],
) -> tuple[list[Strip], float]:
    """The strips on a scan, and how far a density may be off. What was found in the picture is written beside
    it, before it is read: what is wrong can be seen there."""
    with extra():
        from lampblack.lab import places as finding
        from lampblack.lab import scan as scans

    if tablet is None:
        said = "a scan needs the densities of its tablet. Give a file with one a line."
        raise typer.BadParameter(said, param_hint="--tablet")
    steps = scans.tablet_of(tablet)
    light = scans.light_of(scan)
    rows = [finding.Row(name, len(steps) if name == scans.TABLET else len(lights_s[0]) + 2) for name in names]
    if places is None:
        found = finding.find_places(light, rows)
        beside = scan.with_suffix(".patches.csv")
        if beside.exists() and not force:
            raise CommandError(
                f"{beside} is there already. Give it as --places, or --force to look for the patches anew."
            )
        write_file(beside, finding.csv_of(found).encode(), force=True)
        tell(f"Where patches were found is in {beside}: correct it, and give it as --places.")
    else:
        found = finding.places_of_csv(places, rows, light.shape)
    shown = scan.with_suffix(".patches.png")
    write_file(shown, finding.picture_of(light, found), force=True)
    tell(f"They are shown in {shown}.")
    scanned = scans.densities_of(light, found, steps)
    for own in scanned:
        tell(f"{own.filter or 'none'}: " + " ".join(_read(own)))
    has_base, has_black = given
    if any(d is not None and d > scans.WEAK_FROM for own in scanned for d in (*own.patches, own.black)):
        tell(f"Note: above {scans.WEAK_FROM} stray light and gloss are a part of what a scanner reads.")
    return scans.strips_of(scanned, lights_s, has_base, has_black), scans.SCAN_SIGMA


def _read(row: Any) -> list[str]:
    return [
        "beyond" if density is None else f"{density:.2f}" for density in (row.base, *row.patches, row.black)
    ]


def _typed(texts: list[str], first: list[str] | None, step: list[str] | None) -> list[Strip]:
    times = _times(first, step, len(texts))
    return shared([strip_of_text(text, *own) for text, own in zip(texts, times, strict=True)])


def _times(first: list[str] | None, step: list[str] | None, strips: int) -> list[tuple[int, int]]:
    """The first patch's light in ms and the step in 1/120 stop, for each of so many strips."""
    times = [option("--first", parse_seconds, text) for text in first or []]
    if not times:
        said = "the light of the first patch is missing. Give it once for all strips, or once for each."
        raise typer.BadParameter(said, param_hint="--first")
    if not all(times):
        said = "a first patch has light. Write more than 0 s; what paper without light reads is --base."
        raise typer.BadParameter(said, param_hint="--first")
    _one_or_each("times", times, strips, "--first")
    steps = []
    for text in step or ["1/2"]:
        stops120, ms = option("--step", parse_step, text)
        if ms or not stops120:
            raise typer.BadParameter(
                f'"{text}" is no step of a strip for a record. Write stops.', param_hint="--step"
            )
        steps.append(stops120)
    _one_or_each("steps", steps, strips, "--step")
    return list(zip(times * (strips // len(times)), steps * (strips // len(steps)), strict=True))


def _one_or_each(what: str, given: list[int], strips: int, option_name: str) -> None:
    if len(given) not in (1, strips):
        whose = "1 strip" if strips == 1 else f"{strips} strips"
        todo = "Give one." if strips == 1 else "Give one for all, or one for each."
        raise typer.BadParameter(f"there are {len(given)} {what} for {whose}. {todo}", param_hint=option_name)


def _densities(name: str, texts: list[str] | None) -> list[float]:
    return [number_of(text, name, "density", 0, DENSITY_MAX) for text in texts or []]


def _paper_by_eye(
    name: str,
    edition: str,
    texts: list[str],
    first: list[str] | None,
    step: list[str] | None,
    reference: str | None,
    lux: float | None,
    wants_record: bool,
    as_json: bool,
) -> Any:
    """The record, or None where the eye saw enough for R alone, which is printed."""
    from lampblack.lab import eye as eyes
    from lampblack.lab import paper as papers

    seen = [
        eyes.seen_of_text(text, ms / 1000, stops120)
        for text, (ms, stops120) in zip(texts, _times(first, step, len(texts)), strict=True)
    ]
    if any(own.grey is None for own in seen) and not wants_record:
        if as_json:
            ranges = [(own.filter, *eyes.range_of(own)) for own in seen]
            print_json([dict(zip(("filter", "iso_range", "range_pm"), each, strict=True)) for each in ranges])
            return None
        for own in seen:
            iso_range, pm = eyes.range_of(own)
            say(f"Filter {own.filter or 'none'}: R {iso_range:.0f} ± {papers.pm_text(pm)}.")
        say("For a record, give the patch that matches a grey of 0.65 as the third number.")
        return None
    return eyes.record_by_eye(seen, name, edition, reference, lux)


def _say_paper(made: Any) -> None:
    from lampblack.lab import paper as papers

    has_speed = "speed" in made.record
    table = tables.new_table(
        "filter",
        "R>",
        "±>",
        "P>" if has_speed else "speed>",
        "± %>",
        "light tone>",
        "middle>",
        "black>",
        "±>",
    )
    for own in made.filters:
        table.add_row(
            own.filter or "none",
            f"{own.iso_range:.0f}",
            papers.pm_text(own.range_pm),
            f"{own.speed:.0f}",
            papers.pm_text(own.speed_pm_percent),
            *(f"{stops120 / 120:+.2f}" for stops120 in own.offsets),
            " ".join(f"{stops120 / 120:.2f}" for stops120 in own.offsets_pm),
        )
    say(table)
    whose = f"Stops are counted from a middle tone through {made.reference or 'no filter'}."
    say(whose if has_speed else f"{whose} Its speed is called 100: without lux there is no P.")
    if made.pair_worst is not None:
        soft, hard = made.record["pair"]
        say(f"Together, {soft} and {hard} are modelled to {made.pair_worst:.2f} in density.")
    for warning in made.warnings:
        say(f"Note: {warning}")
    record = PaperRecord.from_dict(made.record)
    rows = half_grades(record, made.reference, TABLE_MS)
    if rows:
        say("")
        say_grades(record, rows, made.reference, TABLE_MS)
