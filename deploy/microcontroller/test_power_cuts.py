"""Each function is a test; test/deploy/microcontroller.test.ts runs them on MicroPython."""

import spool
from fakes import PowerCut, World, equal
from test_feeder import DAY, a_plan


def test_a_power_cut_between_plan_and_progress_gives_nothing_twice():
    world = World()
    world.server.plan = a_plan()
    world.run(5_000)
    world.run(700_000, 500)
    equal(world.times_on(), 1)
    world.server.plan = a_plan(2, days=[dict(DAY, free=[32_900, 33_000, 36_000])])  # one more time before
    world.flash.power_for = len(world.flash.files["plan"]) + 20  # the new plan is written, its progress is not
    try:
        world.run(70_000)
        raise AssertionError("the power did not fail")
    except PowerCut:
        world.flash.power_for = None
    equal((b'"version": 2' in world.flash.files["plan"], b'"version": 2' in world.flash.files["s00000001"]), (True, False))
    world.restart()
    world.run(60_000)
    equal((world.times_on(), world.feeder.plan.version, world.feeder.plan.memory["given"]), (1, 2, 1))


def test_start_and_end_of_a_portion_are_in_one_file_however_small_the_files_are():
    whole, spool.SEGMENT = spool.SEGMENT, 100
    try:
        world = World()
        world.set_way("lost")
        for _ in range(5):
            world.cap()
            world.sense("perch")
            world.run(2_500)
        world.restart()
        world.settle()
        equal((world.server.conflicts, ["cutShort" in one for one in world.server.of_kind("portion")]), ([], [False] * 5))
    finally:
        spool.SEGMENT = whole


def story(world):
    """Some minutes with everything in them."""
    world.cap()
    world.run(1_000)
    world.sense("press")
    world.sense("perch")
    world.run(4_000)
    world.order("o-1", "pause")
    world.run(61_000, 200)
    world.cap()
    world.run(2_000)
    world.order("o-2", "resume")
    world.run(61_000, 200)
    world.cap()
    world.run(3_000)


def test_every_power_cut_keeps_each_promise_or_tells_and_never_pays_twice():
    whole = World()
    story(whole)
    total = sum(len(one[1]) for one in whole.log if one[0] == "flash")
    cuts = 0
    for power_for in range(1, total, total // 25):
        world = World()
        world.flash.power_for = power_for
        try:
            story(world)
        except PowerCut:
            cuts += 1
        world.flash.power_for = None
        paused_before = world.server.outcome_of("o-1") == "done" and world.server.outcome_of("o-2") is None and not any(
            one["id"] == "o-2" for one in world.server.orders
        )
        on_before = world.times_on()
        world.restart()
        if paused_before:
            equal(world.feeder.paused, True)
        world.run(3_000)
        equal(world.times_on(), on_before)  # what was owed at the cut is not paid later
        world.settle()
        equal(world.server.conflicts, [])
        portions = world.server.of_kind("portion")
        # Each turn of the motor is told; one that was cut between flash and motor is told as cut short.
        if not 0 <= len(portions) - world.times_on() <= 1:
            raise AssertionError("cut after %d bytes: %d portions told, %d given" % (power_for, len(portions), world.times_on()))
        paid = [(name, one["paysFor"]) for name, one in world.server.stored.items() if one["kind"] == "portion"]
        paid = [(name[0], pays_for) for name, pays_for in paid]
        equal(len(paid), len(set(paid)))
        for order in ("o-1", "o-2"):
            equal(len([one for one in world.server.of_kind("order") if one["order"] == order]) <= 1, True)
    equal(cuts > 20, True)
