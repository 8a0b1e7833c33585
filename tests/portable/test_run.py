"""The compiled run on both: order, windows and light of maps drawn by chance that is the same everywhere."""

from tests.portable.chance import numbers
from timing_core.light.bench import Bench
from timing_core.light.plan import BASE, BURN, FIT, compile_print, stage_name, stage_task
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.light.stops import per_mille_less
from timing_core.refusal import Refusal

FILTERS = ("", "0", "2", "5")


def maps(count):
    chance = numbers(4711)
    for _ in range(count):
        map = PrintingMap.new(4000 + next(chance) % 60000, "2", 80)
        map.set_pass_count(1 + next(chance) % 4)
        map.dry_down = next(chance) % 2 == 0
        for index in range(len(map.passes)):
            map.set_base(index, 4000 + next(chance) % 60000)
            map.passes[index].filter = FILTERS[next(chance) % 4]
            for number in range(next(chance) % 4):
                stops120 = next(chance) % 240 - 80
                filter = FILTERS[next(chance) % 4] if stops120 > 0 else ""
                map.add_mark(index, Mark("area %d" % number, stops120, filter, next(chance) % 3 == 0))
        yield map


def compiled(count):
    """Maps that can be given, with their stages; the rest must say in one line why not."""
    bench = Bench()
    given = 0
    for map in maps(count):
        refused, stages = "", []
        try:
            stages = compile_print(map, bench)
        except Refusal as refusal:
            refused = refusal.line
        if stages:
            given += 1
            yield map, stages
        else:
            assert refused.startswith(("Dodges ", "Too many shades in pass ")) or " is too " in refused
    assert given > count // 3


def test_every_stage_is_given_through_the_filter_in_place():
    for map, stages in compiled(80):
        fitted = None
        order = []
        for stage in stages:
            if stage.kind == FIT:
                assert stage.filter != fitted
                fitted = stage.filter
            assert stage.filter == fitted
            if stage.kind == BASE:
                order.append(stage.pass_index)
        assert order == list(range(len(map.passes)))


def test_light_and_windows_are_those_of_the_map():
    bench = Bench()
    for map, stages in compiled(80):
        cut_pm = map.dry_down_pm if map.dry_down else 0
        for index in range(len(map.passes)):
            own = map.passes[index]
            base = next(stage for stage in stages if stage.kind == BASE and stage.pass_index == index)
            assert base.shown_ms == map.base_ms(index)
            assert base.light_ms == per_mille_less(base.shown_ms, cut_pm)
            at_ms = open_ms = 0
            windows = list(base.windows)
            for number in range(len(own.marks)):
                mark = own.marks[number]
                light_ms = per_mille_less(abs(map.mark_ms(index, mark)), cut_pm)
                if mark.stops120 < 0:
                    window = windows.pop(0)
                    assert window.area == mark.area
                    if not (mark.with_previous and at_ms):
                        open_ms = at_ms + bench.get("lead_ms")
                    assert window.open_ms == open_ms
                    assert window.close_ms == open_ms + light_ms <= base.light_ms
                    at_ms = max(at_ms, window.close_ms)
                elif mark.stops120 > 0:
                    burns = [
                        stage
                        for stage in stages
                        if stage.kind == BURN and stage.pass_index == index and stage.area == mark.area
                    ]
                    assert len(burns) == 1
                    assert burns[0].light_ms == light_ms
                    assert burns[0].filter == (mark.filter or own.filter)
            assert not windows


def test_cues_are_in_order_and_end_on_the_edges():
    for _, stages in compiled(40):
        for stage in stages:
            last_ms = 0
            edges = []
            for at_ms, sound in stage.cues:
                assert at_ms > last_ms
                last_ms = at_ms
                if sound != "pip":
                    edges.append((at_ms, sound))
            wanted = []
            for index in range(len(stage.windows)):
                window = stage.windows[index]
                for at_ms, one in ((window.open_ms, "open"), (window.close_ms, "close")):
                    same = [edge for edge in wanted if edge[0] == at_ms]
                    if same:
                        wanted.remove(same[0])
                    wanted.append((at_ms, one + ("_both" if same else ("", "2")[index % 2])))
            assert edges == sorted(wanted)


def test_two_dodges_of_a_base_of_8_s_go_in_together():
    map = PrintingMap.new(8000, "2", 0)
    map.add_mark(0, Mark("face", -60))
    map.add_mark(0, Mark("hand", -60))
    refused = ""
    try:
        compile_print(map, Bench())
    except Refusal as refusal:
        refused = refusal.line
    assert refused.startswith("Dodges do not fit in pass 1: ")
    map.passes[0].marks[1].with_previous = True
    stage = compile_print(map, Bench())[1]
    assert [(window.open_ms, window.close_ms) for window in stage.windows] == [(2000, 4343)] * 2
    assert [cue for cue in stage.cues if cue[1] != "pip"] == [(2000, "open_both"), (4343, "close_both")]
    assert stage_task(stage) == "Shade face + hand"


def test_a_split_grade_print_in_words():
    map = PrintingMap.new(16000, "0", 0)
    map.set_pass_count(2)
    map.passes[1].filter = "5"
    map.set_base(1, 8980)
    map.add_mark(0, Mark("boats", -40))
    map.add_mark(0, Mark("sky", 40, "5"))
    names = [stage_name(stage) for stage in compile_print(map, Bench())]
    assert names == ["Fit filter 0", "Base, pass 1", "Fit filter 5", "Base, pass 2", "Burn sky"]
