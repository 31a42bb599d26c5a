"""Each function is a test; test/deploy/microcontroller.test.ts runs them on MicroPython."""

import json

import feeder as program
from fakes import FakeBoard, World, equal, holds, iso
from stored_plan import progress_of

DAY = {"from": 1_768_435_200, "to": 1_768_521_600, "portionsMax": 3, "free": [33_000, 36_000], "frost": []}
EACH = {"ratios": [1], "betweenSeconds": 0}


def a_plan(version=1, **changes):
    plan = {"version": version, "portionsEach": 1, "frostBelowCelsius": None, "paysDepositsOverRation": True}
    plan.update(days=[DAY], press=EACH, deposit=EACH)
    plan.update(changes)
    return plan


def first(log, wanted):
    return next(place for place, one in enumerate(log) if wanted(one))


def test_pays_a_cap_and_reports_both_in_order():
    world = World()
    world.run(2_000)
    world.cap()
    world.run(1_500)
    world.sense("piece")
    world.settle()
    deposit, portion = world.server.of_kind("deposit")[0], world.server.of_kind("portion")[0]
    equal(deposit["earns"], True)
    equal((portion["cause"], portion["paysFor"], portion["chuteCount"]), ("deposit", deposit["seq"], 1))
    equal(900 <= portion["motorMs"] <= 1_000 and "cutShort" not in portion, True)
    equal(world.times_on(), 1)


def test_has_promise_and_start_in_flash_before_the_motor_turns():
    world = World()
    world.run(1_000)
    del world.log[:]
    world.cap()
    world.run(50)
    on = first(world.log, lambda one: one[0] == "on")
    written = b"".join(one[1] for one in world.log[:on] if one[0] == "flash")
    holds(written, b'e 1 1 {')  # kept as a promise
    holds(written, b'"deposit"')
    holds(written, b'"cutShort"')
    holds(written, b'"progress"')


def test_writes_no_flash_and_sends_nothing_while_the_motor_turns():
    world = World()
    world.run(1_000)
    for _ in range(3):
        world.cap()
        world.sense("perch")
        world.run(400)
    world.run(20_000)
    is_on = False
    for one in world.log:
        is_on = one[0] == "on" or (is_on and one[0] != "off")
        equal(is_on and one[0] in ("flash", "sent"), False)
    equal(world.times_on(), 3)


def test_reports_a_portion_that_a_power_cut_ended_and_does_not_pay_again():
    world = World()
    world.set_way("lost")
    world.cap()
    world.run(500)
    equal(world.board.is_on, True)
    world.restart()
    equal(world.times_on(), 1)
    world.run(5_000)
    world.settle()
    equal(world.times_on(), 1)
    portion = world.server.of_kind("portion")[0]
    equal((portion["paysFor"], portion["motorMs"], portion["cutShort"]), (1, None, True))


def test_dates_events_over_the_wrap_around_of_the_counter():
    world = World()  # wraps around after 5 s
    world.sense("perch")
    world.run(10_000)
    world.sense("perch")
    world.settle()
    equal([one["uptimeMs"] for one in world.server.of_kind("visit")], [50, 10_050])


def test_pause_stops_the_motor_at_once_and_is_in_flash_before_it_is_confirmed():
    world = World()
    world.run(1_000)
    world.order("o-1", "pause")
    world.feeder.report_at = 0
    world.cap()
    world.run(50)  # the motor turns; the report waits until it stands
    world.run(1_100)
    world.settle()
    flash = first(world.log, lambda one: one[0] == "flash" and b'"o-1"' in one[1])
    sent = first(world.log, lambda one: one[0] == "sent" and any(event.get("order") == "o-1" for event in one[1]["events"]))
    equal(flash < sent, True)
    equal(world.server.outcome_of("o-1"), "done")
    world.cap()
    world.sense("press")
    world.run(5_000)
    equal(world.times_on(), 1)
    world.order("o-2", "resume")
    world.settle()
    world.run(5_000)
    equal(world.times_on(), 1)  # nothing of the pause is paid later
    world.cap()
    world.run(5_000)
    equal(world.times_on(), 2)
    equal([one["earns"] for one in world.server.of_kind("deposit") + world.server.of_kind("press")][:3], [True, False, False])


def test_pause_in_the_middle_of_a_portion_cuts_it_short():
    world = World()
    world.run(1_000)
    world.cap()
    world.cap()  # which waits for its portion
    world.run(500)
    world.feeder._take_orders([{"id": "o-1", "kind": "pause", "until": None}], 0)
    equal(world.board.is_on, False)
    world.settle()
    equal((world.times_on(), world.server.words()), (1, ""))
    portion = world.server.of_kind("portion")[0]
    equal((portion["cutShort"], 400 <= portion["motorMs"] <= 500), (True, True))


def test_pause_holds_through_a_power_cut_until_it_is_over_by_the_servers_time():
    world = World()
    world.run(1_000)
    world.order("o-1", "pause", iso(world.server.epoch + 600))
    world.settle()
    world.set_way("lost")
    world.restart()
    world.cap()
    world.run(700_000, 1_000)
    equal((world.feeder.paused, world.times_on()), (True, 0))  # the time is not known
    world.settle()
    world.run(1_000)
    equal(world.feeder.paused, False)
    world.cap()
    world.run(5_000)
    equal(world.times_on(), 1)


def test_answers_each_order_once_also_when_the_answer_was_lost_and_after_a_power_cut():
    world = World()
    world.order("o-1", "pause")
    world.run(1_000)
    world.set_way("answerLost")
    world.run(30_000)
    world.restart()
    world.feeder._take_orders([{"id": "o-1", "kind": "pause", "until": None}], 0)  # the server could not know
    world.settle()
    equal(len([one for one in world.server.of_kind("order") if one["order"] == "o-1"]), 1)


def test_refuses_an_order_that_it_does_not_know():
    world = World()
    world.order("o-1", "bench")
    world.run(70_000)
    equal(world.server.outcome_of("o-1"), "refused")


def test_says_so_where_the_motor_can_not_be_switched_off_and_confirms_later():
    world = World()
    world.run(1_000)
    world.cap()
    world.run(500)
    world.board.off_fails = True
    world.feeder._take_orders([{"id": "o-1", "kind": "pause", "until": None}], 0)
    world.run(2_000)
    world.board.off_fails = False
    world.settle()
    equal([one["outcome"] for one in world.server.of_kind("order")], ["refused", "done"])
    equal(world.board.is_on, False)
    holds(world.server.words(), "could not be switched off")


def test_stays_paused_where_flash_lost_whether_a_pause_was_in_force():
    world = World()
    world.run(1_000)
    world.order("o-1", "pause")
    world.settle()
    newest = sorted(name for name in world.flash.files if name[0] == "s")[-1]
    world.flash.files[newest] = world.flash.files[newest].replace(b'"o-1"', b'"o-7"')
    world.restart()
    world.cap()
    world.run(5_000)
    equal((world.feeder.paused, world.times_on()), (True, 0))
    world.settle()
    holds(world.server.words(), "stays paused")
    world.order("o-2", "resume")
    world.settle()
    equal(world.feeder.paused, False)


def test_gives_no_food_while_flash_can_not_be_written_and_tells_why():
    world = World()
    world.run(1_000)
    world.flash.fails = True
    world.cap()
    world.run(5_000)
    equal(world.times_on(), 0)
    world.cap()
    world.run(61_000)
    world.flash.fails = False
    world.run(61_000)
    world.cap()
    world.run(5_000)
    world.settle()
    equal(world.times_on(), 1)
    equal([one["earns"] for one in world.server.of_kind("deposit")], [True, False, True])
    equal(["cutShort" in one for one in world.server.of_kind("portion")], [False])  # none of which the motor never turned
    holds(world.server.words(), "Portions left out: 1, since the flash can't be written")


def test_rests_after_three_stalls():
    world = World()
    world.board.milliamps = 900
    for _ in range(5):
        world.cap()
        world.run(3_000)
    equal(world.times_on(), 3)
    world.settle()
    equal([one["earns"] for one in world.server.of_kind("deposit")], [True, True, True, False, False])
    equal(all(one["motorMs"] < 500 for one in world.server.of_kind("portion")), True)


def test_drums_on_the_button_pay_three_at_most_at_once():
    world = World()
    for _ in range(9):
        world.sense("press")
    world.run(30_000)
    equal(world.times_on(), 3)


def test_carries_out_the_plan_without_a_network_and_counts_the_ration_through_a_power_cut():
    world = World()
    world.server.plan = a_plan()
    world.run(5_000)
    equal(world.server.reports[-1]["readings"]["planVersion"], 1)
    world.set_way("lost")
    world.run(700_000, 500)  # 33,000 s of the day are ten minutes after nine
    equal(world.times_on(), 1)
    world.sense("press")
    world.run(3_000)
    world.restart()
    world.set_way("through")
    world.run(3_000)  # hears the time
    world.set_way("lost")
    world.sense("press")
    world.run(3_000)
    equal(world.times_on(), 3)
    world.sense("press")  # beyond the ration
    world.run(3_000)
    world.cap()  # is paid all the same
    world.run(3_000)
    equal(world.times_on(), 4)
    world.settle()
    equal([one["cause"] for one in world.server.of_kind("portion")], ["timer", "press", "press", "deposit"])


def test_gives_nothing_free_before_it_knows_the_time_and_pays_acts_all_the_same():
    world = World()
    world.server.plan = a_plan()
    world.run(5_000)
    world.set_way("lost")
    world.restart()
    equal(world.feeder.plan.version, 1)
    world.run(700_000, 500)
    equal((world.times_on(), world.feeder.plan.waits_for_time(None)), (0, True))
    world.sense("press")
    world.run(3_000)
    equal(world.times_on(), 1)


def test_reckons_time_in_whole_numbers_since_floats_of_a_board_are_too_short():
    world = World()
    world.server.plan = a_plan()
    world.run(5_000)
    equal(isinstance(world.feeder._time(), int), True)
    equal(world.feeder._time() - world.server.epoch in (4, 5), True)
    holds(json.dumps(progress_of(world.feeder.plan)), '"given": 0')


def test_a_plan_that_can_not_be_carried_out_is_told_and_the_one_before_stays():
    world = World()
    world.server.plan = a_plan()
    world.run(5_000)
    world.server.plan = a_plan(2, portionsEach=500)
    world.run(130_000)
    equal(world.feeder.plan.version, 1)
    holds(world.server.words(), "plan.portionsEach")


def test_leaves_out_readings_before_it_gives_up_an_event_that_can_not_be_read():
    world = World()
    world.run(1_000)
    world.set_way(("unreadable", "400 bad"))
    world.sense("lid", True)
    world.sense("perch")
    world.run(70_000)
    readings = [one[1].get("readings") for one in world.log if one[0] == "sent"]
    equal(("counts" in readings[1], "counts" in readings[2]), (True, False))
    world.settle()
    holds(world.server.words(), "did not take event")


def test_waits_longer_after_each_failure_and_as_long_as_the_server_asks():
    world = World()
    world.set_way("lost")
    world.run(120_000)
    sent = [one[1]["sentUptimeMs"] for one in world.log if one[0] == "sent"]
    waits = [(b - a) // 1000 for a, b in zip(sent, sent[1:])]
    equal(waits, [2, 4, 8, 16, 32])
    world.set_way(("tooOften", 600))
    world.run(80_000, 500)
    count = len([one for one in world.log if one[0] == "sent"])
    world.run(500_000, 500)
    equal(len([one for one in world.log if one[0] == "sent"]), count)


def test_survives_an_answer_that_is_none():
    for answer in (None, [], {}, {"storedThrough": True}, {"storedThrough": 1, "serverTime": "noon", "nextReportSeconds": 1, "orders": 5}):
        world = World()
        world.sense("perch")
        world.set_way(("answered", answer))
        world.run(5_000)
        world.settle()
        equal(len(world.server.of_kind("visit")), 1)


def test_carries_out_what_waited_at_a_broker_once_and_not_before_it_knows_the_time():
    world = World()
    order = {"id": "o-1", "kind": "pause", "until": None}
    world.set_way("lost")
    world.client.frame = {"until": "2026-01-15T10:00:00Z", "orders": [order]}
    world.run(2_000)
    equal((world.feeder.paused, world.client.frame), (False, None))
    world.set_way("through")
    world.run(20_000)
    reports = len(world.server.reports)
    for _ in range(2):
        world.client.frame = {"until": "2026-01-15T10:00:00Z", "orders": [order]}
        world.run(1_000)
    world.client.frame = {"until": "2026-01-15T10:00:00Z", "plan": a_plan(3)}
    world.run(1_000)
    equal((world.feeder.paused, world.feeder.plan.version), (True, 3))
    equal(world.server.outcome_of("o-1"), "done")
    equal(len(world.server.of_kind("order")), 1)
    world.client.frame = {"connected": True}
    world.run(1_000)
    equal(len(world.server.reports) - reports, 3)  # the order, the plan, and after the broker was away


def test_the_made_up_board_is_like_the_one_to_fill_in():
    names = [name for name in dir(FakeBoard) if name[0] != "_"]
    for name in ("poll", "read", "motor_on", "motor_off", "motor_milliamps", "portion_ms", "counted"):
        equal(name in names, True)
    equal(program.KNOWN_ORDERS_MAX >= 8, True)
