"""Each function is a test; test/deploy/microcontroller.test.ts runs them on MicroPython."""

import json

import spool as program
from fakes import FakeFlash, PowerCut, World, equal, holds
from spool import Flash, Spool, read_sealed, write_sealed


def text(seq, kind="visit"):
    return '{"kind": "%s", "seq": %d, "uptimeMs": %d}' % (kind, seq, 50 * seq)


def filled(flash, boot, count, promise_each=0, kind="visit"):
    """A spool in which each event was written by itself."""
    spool = Spool(flash, boot)
    spool.remember("held", None)
    for seq in range(1, count + 1):
        spool.add(seq, text(seq, kind), promise_each > 0 and seq % promise_each == 0, 50 * seq)
        spool.flush(50 * seq)
    return spool


def all_waiting(spool):
    found = []
    while True:
        oldest = spool.oldest(40)
        if oldest is None:
            return found
        found += [(oldest[0], seq) for seq, _ in oldest[1]]
        spool.confirm(oldest[0], oldest[1][-1][0])


def test_keeps_all_through_a_power_cut_and_gives_it_oldest_first():
    flash = FakeFlash()
    filled(flash, "b-1", 30)
    spool = filled(flash, "b-2", 5)
    equal(spool.waiting(), 35)
    equal(all_waiting(spool), [("b-1", seq) for seq in range(1, 31)] + [("b-2", seq) for seq in range(1, 6)])
    equal((spool.waiting(), spool.lost), (0, 0))


def test_removes_what_is_confirmed_and_keeps_the_memory():
    flash = FakeFlash()
    spool = filled(flash, "b-1", 400)
    spool.remember("held", {"order": "o-1", "until": None})
    spool.flush(99_999)
    equal(len(flash.files) > 3, True)
    spool.confirm("b-1", 400)
    equal(len(flash.files), 1)
    equal(Spool(flash, "b-2").memory["held"], {"order": "o-1", "until": None})


def test_does_not_send_again_what_was_confirmed_before_a_power_cut():
    flash = FakeFlash()
    spool = filled(flash, "b-1", 10)
    spool.confirm("b-1", 7)
    spool.remember("held", None)
    spool.flush(99_999)
    equal(all_waiting(Spool(flash, "b-2")), [("b-1", 8), ("b-1", 9), ("b-1", 10)])


def test_a_later_text_of_a_portion_takes_the_place_of_the_earlier():
    for flushed in (False, True):
        flash = FakeFlash()
        spool = Spool(flash, "b-1")
        spool.add(1, text(1, "begun"), True, 0)
        if flushed:
            spool.flush(0)
        spool.add(1, text(1, "finished"), True, 0)
        equal((len(spool.pending), spool.waiting() <= 2), (1, True))
        spool.flush(0)
        again = Spool(flash, "b-2")
        equal([one[1] for one in again.oldest(40)[1]], [text(1, "finished")])


def test_a_confirmed_event_that_waited_in_ram_is_never_written():
    flash = FakeFlash()
    spool = Spool(flash, "b-1")
    for seq in range(1, 20):
        spool.add(seq, text(seq), False, 0)
    equal(spool.wants_flush(599_999), False)
    equal(spool.wants_flush(600_000), True)
    spool.confirm("b-1", 19)
    equal((spool.wants_flush(600_000), spool.flush(600_000), flash.files), (False, True, {}))


def test_a_write_that_a_power_cut_ended_counts_for_nothing_and_what_came_before_stays():
    whole = FakeFlash()
    spool = filled(whole, "b-1", 3)
    size = len(whole.files["s00000001"])
    spool.add(4, text(4), True, 0)
    spool.remember("held", {"order": "o-1", "until": None})
    spool.flush(0)
    data = whole.files["s00000001"]
    for end in range(size, len(data)):
        flash = FakeFlash()
        flash.files["s00000001"] = data[:end]
        again = Spool(flash, "b-2")
        equal((again.waiting(), again.memory["held"], again.in_doubt, again.lost), (3, None, False, 0))


def test_each_damaged_byte_is_noticed():
    flash = FakeFlash()
    filled(flash, "b-1", 3)
    data = flash.files["s00000001"]
    for place in range(len(data) - 1):
        damaged = FakeFlash()
        damaged.files["s00000001"] = data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
        spool = Spool(damaged, "b-2")
        equal((spool.in_doubt, spool.lost > 0), (True, True))
        for _, seq_text in (spool.oldest(40) or (None, []))[1]:
            json.loads(seq_text)


def test_is_bounded_and_drops_what_is_no_promise_first_and_counts_it():
    whole, program.FLASH_MAX = program.FLASH_MAX, 40_000
    try:
        flash = FakeFlash()
        spool = filled(flash, "b-1", 1_000, promise_each=10)
        equal(flash.size() <= 40_000 + program.SEGMENT, True)
        waiting = spool.waiting()
        equal(waiting + spool.lost, 1_000)
        equal(spool.lost > 100, True)
        left = [seq for _, seq in all_waiting(spool)]
        equal(len(left), waiting)
        equal([seq for seq in range(10, 1_001, 10) if seq not in left], [])  # each promise is there
    finally:
        program.FLASH_MAX = whole


def test_drops_the_oldest_promises_last_and_counts_them():
    whole, program.FLASH_MAX = program.FLASH_MAX, 40_000
    try:
        spool = filled(FakeFlash(), "b-1", 1_000, promise_each=1)
        waiting = spool.waiting()
        equal((waiting + spool.lost, spool.lost > 100), (1_000, True))
        equal([seq for _, seq in all_waiting(spool)], list(range(1_001 - waiting, 1_001)))
    finally:
        program.FLASH_MAX = whole


def test_what_was_dropped_is_reported_once_also_through_a_power_cut():
    whole, program.FLASH_MAX = program.FLASH_MAX, 30_000
    try:
        world = World()
        world.set_way("lost")
        for _ in range(20):
            for _ in range(30):
                world.sense("perch")
            world.run(1_000)
        world.restart()
        world.run(1_000)
        world.settle()
        world.restart()
        world.settle()
        lost = [int(one["words"].split(": ")[1].split(" ")[0]) for one in world.server.of_kind("trouble")]
        equal(len(lost) >= 1, True)
        equal(sum(lost) + len(world.server.of_kind("visit")), 600)
    finally:
        program.FLASH_MAX = whole


def test_waits_in_ram_where_flash_can_not_be_written_and_counts_what_it_drops():
    flash = FakeFlash()
    spool = Spool(flash, "b-1")
    flash.fails = True
    for seq in range(1, 301):
        spool.add(seq, text(seq), seq % 2 == 0, 0)
    equal((spool.flush(0), spool.problem is not None), (False, True))
    equal((spool.waiting(), spool.lost), (200, 100))
    equal((spool.wants_flush(59_999), spool.wants_flush(60_000)), (False, True))
    flash.fails = False
    equal((spool.flush(60_000), spool.problem), (True, None))
    equal(len([seq for _, seq in all_waiting(Spool(flash, "b-2")) if seq % 2 == 0]), 150)


def test_the_end_of_a_portion_that_flash_could_not_take_is_sent_in_place_of_its_start():
    flash = FakeFlash()
    spool = Spool(flash, "b-1")
    spool.add(1, text(1, "begun"), True, 0)
    spool.flush(0)
    flash.fails = True
    spool.add(1, text(1, "finished"), True, 0)
    equal((spool.flush(0), spool.oldest(40)), (False, ("b-1", [(1, text(1, "finished"))])))
    spool.confirm("b-1", 1)
    equal((spool.oldest(40), spool.waiting()), (None, 0))


def test_a_write_that_failed_half_way_damages_nothing_that_comes_after_it():
    flash = FakeFlash()
    spool = filled(flash, "b-1", 3)
    flash.writes_half = True
    spool.add(4, text(4), True, 0)
    equal(spool.flush(0), False)
    flash.writes_half = False
    equal(spool.flush(60_000), True)
    again = Spool(flash, "b-2")
    equal((again.in_doubt, again.lost, [seq for _, seq in all_waiting(again)]), (False, 0, [1, 2, 3, 4]))


def test_starts_again_and_again_without_filling_flash():
    flash = FakeFlash()
    for start in range(200):
        spool = Spool(flash, "b-%d" % start)
        spool.remember("held", None)
        spool.flush(0)
    equal(len(flash.files) <= 2, True)


def test_a_sealed_file_is_whole_or_as_it_was():
    flash = FakeFlash()
    equal(read_sealed(flash, "plan"), None)
    write_sealed(flash, "plan", [1, {"a": 2}])
    flash.power_for = 10
    try:
        write_sealed(flash, "plan", [2])
    except PowerCut:
        flash.power_for = None
    equal(read_sealed(flash, "plan"), [1, {"a": 2}])
    flash.files["plan"] = flash.files["plan"].replace(b"2", b"3")
    equal(read_sealed(flash, "plan"), None)


def test_the_files_of_a_folder_do_what_the_made_up_flash_does():
    flash = Flash("/flash")
    filled(flash, "b-1", 200)
    spool = filled(flash, "b-2", 3)
    equal((spool.waiting(), spool.problem), (203, None))
    write_sealed(flash, "plan", {"a": 1})
    write_sealed(flash, "plan", {"a": 2})
    equal(read_sealed(flash, "plan"), {"a": 2})
    equal(len(all_waiting(spool)), 203)
    equal([name for name in flash.names() if name != "plan"], ["s%08d" % spool._number])
    try:
        flash.read("nothing")
        raise AssertionError("it has read what is not there")
    except OSError as error:
        holds(repr(error), "OSError")
