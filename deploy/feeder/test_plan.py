"""python3 -m unittest, in this folder. The plan as a feeder carries it out; the time is handed in. MicroPython runs it, too."""

import copy
import json
import unittest

from plan import FeedingPlan, PlanError, checked

MIDNIGHT = 1_796_079_600  # 2026-12-01 00:00 in Stockholm
DAY = 86_400
EACH = {"ratios": [1], "betweenSeconds": 0}


def a_plan(version=1, **changes):
    days = [
        {
            "from": MIDNIGHT + index * DAY,
            "to": MIDNIGHT + (index + 1) * DAY,
            "portionsMax": 6,
            "free": [8 * 3600, 9 * 3600, 12 * 3600],
            "frost": [10 * 3600, 11 * 3600],
        }
        for index in range(14)
    ]
    plan = {
        "version": version,
        "portionsEach": 2,
        "frostBelowCelsius": -10,
        "paysDepositsOverRation": True,
        "days": days,
        "press": EACH,
        "deposit": EACH,
    }
    plan.update(changes)  # no **changes above: MicroPython runs this file, too
    return plan


def at(hours, day=0):
    return MIDNIGHT + day * DAY + hours * 3600


class FreeFood(unittest.TestCase):
    def setUp(self):
        self.plan = FeedingPlan()
        self.plan.take(a_plan(), at(1))

    def give_by_minutes(self, begin, end, air=None):
        given, now = [], begin
        while now < end:
            portions = self.plan.due(now, air)
            if portions:
                given.append(((now - MIDNIGHT) / 3600 % 24, portions))
                self.plan.count(portions, now)
            now += 60
        return given

    def test_is_given_once_at_each_of_its_times(self):
        self.assertEqual(self.give_by_minutes(at(1), at(24)), [(8, 2), (9, 2), (12, 2)])

    def test_goes_on_for_a_fortnight_without_a_network_and_then_says_that_it_is_over(self):
        self.assertEqual(len(self.give_by_minutes(at(1), at(0, day=14))), 14 * 3)
        self.assertFalse(self.plan.is_over(at(23, day=13)))
        self.assertTrue(self.plan.is_over(at(0, day=14)))
        self.assertEqual(self.plan.due(at(8, day=14)), 0)

    def test_survives_a_power_cut_without_a_second_portion_and_without_catching_up(self):
        self.assertEqual(self.give_by_minutes(at(1), at(8.01)), [(8, 2)])
        self.plan = FeedingPlan(json.loads(json.dumps(self.plan.memory)))
        self.assertEqual(self.plan.due(at(8.02)), 0)  # given already
        self.plan = FeedingPlan(json.loads(json.dumps(self.plan.memory)))
        self.assertEqual(self.plan.due(at(11)), 0)  # 9 o'clock was missed by two hours
        self.assertEqual(self.give_by_minutes(at(11), at(24)), [(12, 2)])

    def test_that_came_some_minutes_late_is_given(self):
        self.assertEqual(self.plan.due(at(8) + 599), 2)
        plan = FeedingPlan()
        plan.take(a_plan(), at(1))
        self.assertEqual(plan.due(at(8) + 601), 0)

    def test_waits_where_the_time_is_not_known_and_says_so(self):
        self.assertEqual(self.plan.due(None), 0)
        self.assertTrue(self.plan.waits_for_time(None))
        self.assertFalse(self.plan.waits_for_time(at(8)))

    def test_of_a_new_version_is_not_given_twice_for_the_same_time(self):
        self.assertEqual(self.plan.due(at(8)), 2)
        self.assertTrue(self.plan.take(a_plan(version=2), at(8) + 120))
        self.assertEqual(self.plan.due(at(8) + 180), 0)
        self.assertEqual(self.plan.due(at(9)), 2)

    def test_ends_with_the_ration_and_begins_anew_with_the_next_day(self):
        for _ in range(5):
            self.plan.count(1, at(7))
        self.assertEqual(self.give_by_minutes(at(7), at(24)), [(8, 1)])
        self.assertEqual(self.plan.due(at(8, day=1)), 2)

    def test_in_hard_frost_is_given_more_whatever_the_ration_says(self):
        self.plan.count(6, at(7))
        self.assertEqual(self.give_by_minutes(at(7), at(24), air=-10.1), [(10, 1), (11, 1)])
        self.assertEqual(self.give_by_minutes(at(0, day=1), at(24, day=1), air=-9.9), [(8, 2), (9, 2), (12, 2)])
        self.plan.count(6, at(7, day=2))
        self.assertEqual(self.give_by_minutes(at(7, day=2), at(24, day=2), air=None), [])  # no thermometer: no floor

    def test_after_a_clock_that_jumped_back_is_not_given_again(self):
        self.assertEqual(self.plan.due(at(9)), 2)
        self.assertEqual(self.plan.due(at(8)), 0)
        self.assertEqual(self.plan.due(at(9.05)), 0)


class EarnedFood(unittest.TestCase):
    def plan(self, **changes):
        plan = FeedingPlan()
        plan.take(a_plan(**changes), at(1))
        return plan

    def test_is_earned_by_each_act_where_there_is_no_plan(self):
        self.assertTrue(FeedingPlan().earns("deposit", 5.0))

    def test_is_earned_by_every_nth_act_and_remembers_the_count_through_a_power_cut(self):
        plan = self.plan(press={"ratios": [3], "betweenSeconds": 0})
        self.assertEqual([plan.earns("press", t) for t in range(5)], [False, False, True, False, False])
        plan = FeedingPlan(json.loads(json.dumps(plan.memory)))
        plan.restarted()
        self.assertTrue(plan.earns("press", 0))

    def test_follows_the_list_of_a_variable_ratio_and_begins_it_again(self):
        plan = self.plan(deposit={"ratios": [1, 2, 1], "betweenSeconds": 0})
        self.assertEqual([plan.earns("deposit", t) for t in range(8)], [True, False, True, True, True, False, True, True])

    def test_keeps_the_least_interval_and_counts_no_act_in_it(self):
        plan = self.plan(press={"ratios": [1], "betweenSeconds": 5})
        self.assertEqual([plan.earns("press", t) for t in (0, 1, 4.9, 5, 9, 10)], [True, False, False, True, False, True])
        plan.restarted()
        self.assertTrue(plan.earns("press", 0.5))

    def test_of_a_deposit_is_paid_beyond_the_ration_and_of_a_press_is_not(self):
        plan = self.plan()
        plan.count(6, at(8))
        self.assertFalse(plan.earns("press", 1, at(8)))
        self.assertTrue(plan.earns("deposit", 2, at(8)))
        plan = self.plan(paysDepositsOverRation=False)
        plan.count(6, at(8))
        self.assertFalse(plan.earns("deposit", 2, at(8)))
        self.assertTrue(plan.earns("deposit", 2, at(8, day=1)))

    def test_is_not_earned_where_the_plan_pays_no_such_act(self):
        self.assertFalse(self.plan(press=None).earns("press", 1))

    def test_goes_on_with_its_count_in_a_new_version_of_the_same_rule(self):
        plan = self.plan(press={"ratios": [2], "betweenSeconds": 0})
        plan.earns("press", 1)
        plan.take(a_plan(version=2, press={"ratios": [2], "betweenSeconds": 0}), at(2))
        self.assertTrue(plan.earns("press", 2))
        plan.take(a_plan(version=3, press={"ratios": [3], "betweenSeconds": 0}), at(2))
        self.assertEqual([plan.earns("press", t) for t in (3, 4, 5)], [False, False, True])


class FromOutside(unittest.TestCase):
    def test_is_refused_with_the_field_and_the_stored_plan_stays(self):
        wrong = {
            "plan: must": [1],
            "plan.version": a_plan(version=0),
            "plan.days:": a_plan(days=[]),
            "plan.portionsEach": a_plan(portionsEach=11),
            "plan.frostBelowCelsius": a_plan(frostBelowCelsius="cold"),
            "plan.paysDepositsOverRation": a_plan(paysDepositsOverRation=1),
            "plan.press.ratios": a_plan(press={"ratios": [0], "betweenSeconds": 0}),
            "plan.deposit.betweenSeconds": a_plan(deposit={"ratios": [1], "betweenSeconds": float("nan")}),
        }
        for field, change in (("free", {"free": [5, 4]}), ("free", {"free": [DAY]}), ("portionsMax", {"portionsMax": -1}), ("to", {"to": 5})):
            plan = copy.deepcopy(a_plan())
            plan["days"][1].update(change)
            with self.assertRaises(PlanError) as caught:
                checked(plan)
            self.assertIn(f"plan.days[1].{field}", str(caught.exception))
        kept = FeedingPlan()
        kept.take(a_plan(version=5), at(1))
        for field, plan in wrong.items():
            with self.assertRaises(PlanError) as caught:
                kept.take(plan, at(2))
            self.assertIn(field, str(caught.exception))
            self.assertEqual(kept.version, 5)
            self.assertEqual(FeedingPlan(json.loads(json.dumps(kept.memory))).due(at(8)), 2)

    def test_of_the_same_version_changes_nothing(self):
        plan = FeedingPlan()
        self.assertTrue(plan.take(a_plan(), at(1)))
        before = copy.deepcopy(plan.memory)
        self.assertFalse(plan.take(a_plan(), at(2)))
        self.assertEqual(plan.memory, before)


if __name__ == "__main__":
    unittest.main()
